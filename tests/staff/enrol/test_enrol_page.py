"""Enrolling: few fields, checks in words, and nothing typed is lost."""

import re
from datetime import date, timedelta

import pytest
from sqlalchemy import func, select

from server.models import Consent, Gate, Link, Operation, Patient, Shoulder, Timepoint
from tests.staff.html_page import Page, read_page
from tests.staff.staff_case import Staff, StaffCase

# What a page says is the same on either database.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")

LEAST = {
    "first_name": "Bela",
    "last_name": "Newcomer",
    "birth_on": "1957-03-28",
    "left_shoulder": "yes",
    "email": "bela@patient.example",
    "channel_order": "email",
    "language": "en",
    "consent_contact": "yes",
}


def value_of(page: Page, name: str) -> str:
    element = next(each for each in page.inputs if each.attributes.get("name") == name)
    if element.tag == "textarea":
        return element.text
    if element.tag == "select":
        return next(
            (option.attributes["value"] for option in page.all("option") if "selected" in option.attributes), ""
        )
    if element.attributes.get("type") == "checkbox":
        return "yes" if "checked" in element.attributes else ""
    return element.attributes.get("value", "")


def patients(staff: StaffCase) -> int:
    with staff.case.store.reading() as session:
        return session.scalar(select(func.count(Patient.id))) or 0


def test_a_name_a_birth_date_and_a_shoulder_are_enough(staff: StaffCase, nurse: Staff) -> None:
    answer = nurse.post("/patients/new", LEAST)
    assert answer.status_code == 302 and answer.location.endswith("/enrolled?done=enrolled")
    page = nurse.get(answer.location).text
    assert "Bela Newcomer, Y-0001" in page and "http://127.0.0.1:8017/p/#" in page
    assert "The link as a picture to scan" in page and "Letter to print" in page
    with staff.case.store.reading() as session:
        assert session.scalars(select(Gate.state)).one() == "due"  # the baseline can be answered at once
        assert session.scalars(select(Consent.kind)).all() == ["contact"]
        assert session.scalars(select(Timepoint.code)).all() == ["baseline"]
        assert session.scalars(select(Link)).one().token


def test_without_a_telephone_number_it_is_said_that_nobody_can_call(staff: StaffCase, nurse: Staff) -> None:
    assert "Without it nobody can call about a safety answer" in read_page(nurse.get("/patients/new").text).words
    without = nurse.get(nurse.post("/patients/new", LEAST).location).text
    assert "No telephone number is on record: nobody can call about a safety answer" in read_page(without).words
    with staff.case.store.reading() as session:
        patient_id = session.scalars(select(Patient.id)).one()
    assert "Nobody can call about a safety answer" in read_page(nurse.get(f"/patients/{patient_id}").text).words
    reachable = {
        **LEAST,
        "first_name": "Cora",
        "last_name": "Reachable",
        "phone": "555 0142",
        "email": "c@patient.example",
    }
    with_number = nurse.get(nurse.post("/patients/new", reachable).location).text
    assert "Cora Reachable" in with_number and "No telephone number" not in with_number


def test_both_shoulders_before_and_long_after_surgery(staff: StaffCase, nurse: Staff) -> None:
    planned = (staff.case.today + timedelta(days=12)).isoformat()
    fields = {
        **LEAST,
        "left_surgery_planned_on": planned,
        "left_implant_type": "stemless_hemi",
        "right_surgery_on": "1998-11-20",
        "right_implant_type": "resurfacing_hemi",
        "right_dominant": "yes",
        "right_bmi": "27,4",
        "right_cuff_supraspinatus": "intact",
    }
    enrolled = nurse.post("/patients/new", fields)
    assert enrolled.status_code == 302
    with staff.case.store.reading() as session:
        rows = session.execute(select(Shoulder.side, Operation).join(Operation).order_by(Shoulder.side)).all()
        left, right = rows[0].Operation, rows[1].Operation
        assert [row.side for row in rows] == ["left", "right"]
        assert left.surgery_planned_on is not None and left.surgery_planned_on.isoformat() == planned
        assert (right.surgery_on, right.bmi, right.cuff_supraspinatus) == (date(1998, 11, 20), 27.4, "intact")
        assert right.shoulder.dominant == "yes"
    page = nurse.get(enrolled.location.split("/enrolled")[0]).text
    assert "Right shoulder 1998" in page and "missed" not in said_of_forms(page)  # nobody asked in all those years


def said_of_forms(page: str) -> str:
    """What the tables of answers say, without the key to the marks."""
    return " ".join(row.text for row in read_page(page).all("tr"))


@pytest.mark.parametrize(
    ("wrong", "field", "sentence"),
    [
        ({"birth_on": ""}, "birth_on", "Enter the birth date"),
        ({"birth_on": "28.3.1957"}, "birth_on", "Write it as 1957-03-28."),
        ({"birth_on": "2044-01-01"}, "birth_on", "is after today"),
        ({"first_name": "  "}, "first_name", "Enter the first name"),
        ({"left_shoulder": ""}, "shoulders", "Enter at least one shoulder"),
        ({"left_surgery_on": "2044-01-01"}, "left_surgery_on", "is after today"),
        ({"left_surgery_on": "1950-01-02"}, "left_surgery_on", "is before the birth date"),
        ({"email": ""}, "email", "needs an e-mail address"),
        ({"email": "bela at home"}, "email", "is not an e-mail address"),
        ({"left_bmi": "heavy"}, "left_bmi", "is not a number"),
        ({"language": "tlh"}, "language", "languages are"),
    ],
)
def test_an_error_is_said_at_its_field_and_at_the_top(
    staff: StaffCase, nurse: Staff, wrong: dict[str, str], field: str, sentence: str
) -> None:
    answer = nurse.post("/patients/new", {**LEAST, **wrong})
    assert answer.status_code == 422 and patients(staff) == 0
    page = read_page(answer.text)
    summary = next(each for each in page.all("div") if "data-errors" in each.attributes)
    assert sentence in summary.text and summary.attributes["tabindex"] == "-1"
    assert page.all("a", href=f"#{field}")
    assert any(each.attributes.get("id") == field for each in page.elements), "the link leads to the field"
    if field != "shoulders":
        element = next(each for each in page.inputs if each.attributes["name"] == field)
        assert f"{field}-wrong" in element.attributes["aria-describedby"].split()
        assert element.attributes["aria-invalid"] == "true"
        assert sentence in next(each.text for each in page.all("p", id=f"{field}-wrong"))


def test_nothing_typed_is_lost_on_an_error(staff: StaffCase, nurse: Staff) -> None:
    typed = {
        **LEAST,
        "first_name": "",
        "last_name": 'O\'Hara "the second" <x>',
        "right_shoulder": "yes",
        "right_surgery_on": "2011-05-06",
        "right_surgeon": "Dr. Imagined & Sons",
        "address": "First line\nSecond line",
        "study_number": "Y-9000",
        "consent_contact": "",
        "consent_research": "yes",
        "left_earlier_surgery": "arthroscopy, 2004",
    }
    page = read_page(nurse.post("/patients/new", typed).text)
    kept = typed.keys() - {"channel_order", "language"}
    assert {name: value_of(page, name) for name in kept} == {name: typed[name] for name in kept}


def test_every_choice_keeps_what_was_chosen(nurse: Staff) -> None:
    chosen = {
        "sex": "female",
        "language": "es",
        "channel_order": "letter",
        "left_implant_type": "reverse",
        "left_kind": "index",
        "left_dominant": "no",
        "right_diagnosis": "osteonecrosis",
        "right_cuff_teres_minor": "full_tear",
    }
    html = nurse.post("/patients/new", {**LEAST, **chosen, "last_name": ""}).text
    boxes = {name: html.split(f'<select id="{name}"')[1].split("</select>")[0] for name in chosen}
    assert {name: re.findall(r'value="(\w+)" selected', box) for name, box in boxes.items()} == {
        name: [value] for name, value in chosen.items()
    }


def test_someone_alike_is_shown_before_anything_is_saved(staff: StaffCase, nurse: Staff) -> None:
    nurse.post("/patients/new", LEAST)
    asked = nurse.post("/patients/new", {**LEAST, "first_name": "bela"})
    assert asked.status_code == 422 and "Is it one of these?" in asked.text and "Y-0001" in asked.text
    assert patients(staff) == 1 and value_of(read_page(asked.text), "first_name") == "bela"
    assert nurse.post("/patients/new", {**LEAST, "not_a_duplicate": "yes"}).status_code == 302
    assert patients(staff) == 2


def test_a_study_number_is_given_once(staff: StaffCase, nurse: Staff) -> None:
    nurse.post("/patients/new", {**LEAST, "study_number": "K-7"})
    other = {**LEAST, "first_name": "Cleo", "last_name": "Other", "birth_on": "1960-01-01", "study_number": "K-7"}
    answer = nurse.post("/patients/new", other)
    assert answer.status_code == 422 and "belongs to another patient" in answer.text and patients(staff) == 1


def test_who_agrees_for_a_child_is_asked_and_kept_with_the_consents(staff: StaffCase, nurse: Staff) -> None:
    child = {**LEAST, "birth_on": f"{staff.case.today.year - 9}-01-02", "consent_research": "yes"}
    assert "given_by" not in nurse.get("/patients/new").text
    asked = nurse.post("/patients/new", child)
    assert asked.status_code == 422 and "Say by whom." in asked.text and 'name="given_by_name"' in asked.text
    himself = nurse.post("/patients/new", {**child, "given_by": "self"})
    assert himself.status_code == 422 and "a parent decides until then" in himself.text
    assert patients(staff) == 0
    by = {"given_by": "parent", "given_by_name": "Ida Newcomer"}
    assert nurse.post("/patients/new", {**child, **by}).status_code == 302
    with staff.case.store.reading() as session:
        rows = session.execute(select(Consent.given_by, Consent.given_by_name)).all()
        assert [tuple(row) for row in rows] == [("parent", "Ida Newcomer")] * 2
