"""Who carries a component of a lot: on a page for whoever meets patients, and as a file for the surgeon."""

import csv
import io
from datetime import date
from typing import Any

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import AuditEntry, Component, Operation, Patient, Shoulder
from tests.staff.staff_case import Staff, StaffCase, years_ago

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


@pytest.fixture
def surgeon(staff: StaffCase) -> Staff:
    return staff.sign_in("surgeon")


def carrier(
    staff: StaffCase, name: str, *, label: dict[str, Any] | None, gone: dict[str, Any] | None = None, **person: Any
) -> int:
    """Somebody with a resurfacing of two years ago, whose head has this label; None: no component is recorded."""
    done = ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 2), implant_type="resurfacing_hemi")
    patient_id = staff.case.enrol(done, first_name=name, **person)
    with staff.case.store.writing() as session:
        operation = session.scalars(select(Operation).join(Shoulder).where(Shoulder.patient_id == patient_id)).one()
        if label is not None:
            session.add(Component(put_in_id=operation.id, role="head", made_at=staff.case.now, **label))
        for column, value in (gone or {}).items():
            setattr(session.get_one(Patient, patient_id), column, value)
    return patient_id


@pytest.fixture
def recalled(staff: StaffCase) -> None:
    cup = {"maker": "Invented Implants", "model": "Cup 2"}
    carrier(staff, "Insitu", label={**cup, "lot": "DEMO-12H"})
    carrier(staff, "Spaced", label={**cup, "lot": "demo 12 h"}, consents=("contact",))
    carrier(staff, "Withdrew", label={**cup, "lot": "DEMO-12H"}, gone={"withdrew_on": date(2026, 1, 5)})
    carrier(staff, "Died", label={**cup, "lot": "DEMO-12H"}, gone={"died_on": date(2026, 1, 5)})
    carrier(staff, "Unreachable", label={**cup, "lot": "DEMO-12H"}, gone={"email": None})
    carrier(staff, "Unlotted", label=cup)
    carrier(staff, "Unlabelled", label=None)
    carrier(staff, "Another", label={**cup, "lot": "DEMO-13H"})
    carrier(staff, "Stranger", label={"maker": "Else", "model": "Cup 9"})


def names(page: str) -> list[str]:
    every = ["Insitu", "Spaced", "Withdrew", "Died", "Unreachable", "Unlotted", "Unlabelled", "Another", "Stranger"]
    return sorted((each for each in every if f"{each} Arden" in page), key=lambda each: page.index(f"{each} Arden"))


@pytest.mark.usefixtures("recalled")
def test_a_lot_finds_everybody_whatever_they_agreed_to(nurse: Staff) -> None:
    page = nurse.get("/components?lot=DEMO-12H&model=cup+2").text
    assert names(page) == ["Insitu", "Spaced", "Withdrew", "Died", "Unreachable", "Unlotted", "Unlabelled"]
    for said in (
        "In the shoulder now (five shoulders)",
        "In the shoulder now, maker, model or lot not recorded (one shoulder)",
        "withdrew from the follow-up",
        "5 January 2026",
        "no way of contact",
    ):
        assert said in page
    assert "4 people carry it. One more may carry it." in page, "the living, and not those of whom nothing is recorded"
    assert (
        "whose maker, model or lot was not written down, so it may be the one" in page and "stand apart below" in page
    )
    assert "A lot is looked for as a whole" not in page
    alone = nurse.get("/components?maker=else").text
    assert "One person carries it." in alone and "may carry it" not in alone


@pytest.mark.usefixtures("recalled")
def test_a_part_of_a_lot_is_told_the_lots_that_hold_it(nurse: Staff) -> None:
    page = nurse.get("/components?lot=demo1").text
    assert "A lot is looked for as a whole. “demo1” is also a part of other lots" in page
    for lot in ("DEMO-12H", "DEMO-13H"):
        assert f'<a href="/components?lot={lot}">{lot}</a>' in page


@pytest.mark.usefixtures("recalled")
@pytest.mark.parametrize(
    ("typed", "filled"), [("demo 12h", "lot=demo+12h"), ("cup 2", "model=cup+2"), ("stranger", None), ("up", None)]
)
def test_a_search_among_patients_for_a_lot_or_model_leads_here(nurse: Staff, typed: str, filled: str | None) -> None:
    answer = nurse.get("/patients", query_string={"q": typed})
    assert ("see who carries it" in answer.text) is (filled is not None)
    if filled is not None:
        assert (
            f'href="/components?{filled}"' in answer.text
            and names(nurse.get(f"/components?{filled}").text)[0] == "Insitu"
        )


@pytest.mark.usefixtures("recalled")
def test_a_maker_or_a_part_of_a_model_finds_without_a_lot(nurse: Staff) -> None:
    page = nurse.get("/components?maker=else").text
    assert names(page) == ["Stranger", "Unlabelled"]
    assert "Not recorded: head or resurfacing cup." in page and "has its components" not in page
    assert "Another" in names(nurse.get("/components?model=cup").text)
    assert names(nurse.get("/components?lot=+-+").text) == []


def test_what_was_taken_out_or_struck_is_told_apart(staff: StaffCase, nurse: Staff) -> None:
    carrier(staff, "Insitu", label={"lot": "L-1"})
    carrier(staff, "Another", label={"lot": "L-1", "struck_at": staff.case.now})
    with staff.case.store.writing() as session:
        head = session.scalars(select(Component).order_by(Component.id)).first()
        assert head is not None
        shoulder_id = session.get_one(Operation, head.put_in_id).shoulder_id
        revision = Operation(
            shoulder_id=shoulder_id, position=2, kind="revision", surgery_on=date(2026, 2, 3), made_at=staff.case.now
        )
        session.add(revision)
        session.flush()
        head.taken_out_id = revision.id
    page = nurse.get("/components?lot=l1").text
    assert "Taken out (one shoulder)" in page and "taken out on 3 February 2026" in page
    assert "In the shoulder now (" not in page
    assert "No living person in this record is known to carry it." in page and "Nobody" not in page
    assert "It, or what may be it, was taken out of one person." in page


def test_nobody_is_said_only_where_nothing_was_found(staff: StaffCase, nurse: Staff) -> None:
    carrier(staff, "Died", label={"model": "Cup 2", "lot": "L-1"}, gone={"died_on": date(2026, 1, 5)})
    page = nurse.get("/components?lot=l1").text
    assert "Nobody" not in page and "No living person in this record is known to carry it." in page
    assert "One person who had or may have had it in the shoulder has died." in page
    carrier(staff, "Unlotted", label={"model": "Cup 2"})
    page = nurse.get("/components?lot=l1").text
    assert "One person may carry it." in page and "more may carry it" not in page and "No living person" not in page
    assert "Nobody in this record is recorded with it." in nurse.get("/components?model=cup+3").text


def test_a_part_of_a_model_still_opens_the_one_patient_of_that_name(staff: StaffCase, nurse: Staff) -> None:
    patient_id = carrier(staff, "Cuper", label={"model": "Cup 2", "lot": "uper"})
    assert nurse.get("/patients?q=cup").headers["Location"].endswith(f"/patients/{patient_id}")
    assert "see who carries it" in nurse.get("/patients?q=uper").text, "a whole lot is offered"
    with staff.case.store.writing() as session:
        session.scalars(select(Operation)).one().taken_back_at = staff.case.now
    assert nurse.get("/patients?q=uper").status_code == 302, "what was entered in error finds nobody"
    assert "see who carries it" not in nurse.get("/patients?q=cup+2").text


@pytest.mark.usefixtures("recalled")
def test_the_file_is_the_surgeons_and_noted_before_it_leaves(staff: StaffCase, nurse: Staff, surgeon: Staff) -> None:
    wanted = {"lot": "DEMO-12H", "maker": "", "model": "cup 2"}
    assert nurse.post("/components/file", wanted).status_code == 403
    answer = surgeon.post("/components/file", wanted)
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [(row["first_name"], row["place"], row["reach"]) for row in rows] == [
        ("Insitu", "in_situ", "reachable"),
        ("Spaced", "in_situ", "reachable"),
        ("Withdrew", "in_situ", "withdrew"),
        ("Died", "in_situ", "died"),
        ("Unreachable", "in_situ", "no_way"),
        ("Unlotted", "label_unknown", "reachable"),
        ("Unlabelled", "part_not_recorded", "reachable"),
    ]
    assert answer.headers["Content-Disposition"].startswith('attachment; filename="recall-')
    with staff.case.store.reading() as session:
        noted = session.scalars(select(AuditEntry).where(AuditEntry.action == "recall:file")).one()
    assert "DEMO-12H" in str(noted.detail) and "Arden" not in str(noted.detail)
