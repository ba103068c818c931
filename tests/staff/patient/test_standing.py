"""The first look at a patient's page: how each shoulder is, what is due next, who is to act, and what can be done."""

import re
from datetime import timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import Flag, Patient, Timepoint
from tests.staff.course_case import followed, page_of, sheet
from tests.staff.staff_case import StaffCase
from tests.staff.tree import Node

# What a page says does not depend on the database; the forms, the list and signing in are tested on both.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def facts(page: Node) -> dict[str, str]:
    (standing,) = page.all("section", klass="standing")
    return {name.words: value.words for name, value in zip(standing.all("dt"), standing.all("dd"), strict=True)}


def test_it_says_the_latest_state_the_change_and_what_is_next(staff: StaffCase) -> None:
    said = facts(page_of(staff, f"/patients/{followed(staff, sheet(3, own=0), sheet(11, pain=1, own=1))}"))
    assert said["Now"].startswith("Shoulder test 11 , Pain 1 , Own rating")
    assert said["Acceptable"] == "yes , own answer, year 1; a published level says otherwise"
    assert said["Change"] == "Shoulder test improved since before surgery: 8 points better"
    assert re.match(r"Year 2, to be answered by .+, closes \d", said["Next"]) and said["To act"] == "Nobody until then."


def test_a_form_that_is_open_waits_for_the_patient_and_what_is_flagged_for_staff(staff: StaffCase) -> None:
    patient_id = staff.case.enrol()
    assert facts(page_of(staff, f"/patients/{patient_id}"))["To act"] == "The patient; reminders go by themselves."
    with staff.case.store.writing() as session:
        session.add(Flag(kind="safety_answer", patient_id=patient_id, raised_at=staff.case.now))
    assert facts(page_of(staff, f"/patients/{patient_id}"))["To act"] == "Staff: settle what waits above."
    with staff.case.store.writing() as session:
        session.get_one(Patient, patient_id).died_on = staff.case.today
    assert facts(page_of(staff, f"/patients/{patient_id}"))["To act"] == "Staff: settle what waits above."


def test_of_whom_no_message_goes_by_itself_staff_are_to_act(staff: StaffCase) -> None:
    patient_id = staff.case.enrol(email=None, phone="555 0142", channel_order=("sms",))
    page = page_of(staff, f"/patients/{patient_id}")
    assert facts(page)["To act"].startswith("Staff: call, write, or hand a letter out.")
    assert "text message (by hand, none is sent)" in page.words
    assert "Nobody can call about a safety answer" not in page.words


def test_an_operation_whose_day_is_past_is_staffs_to_enter(staff: StaffCase) -> None:
    planned = ShoulderEntry(side="left", surgery_planned_on=staff.case.today)
    patient_id = staff.case.enrol(planned)
    said = facts(page_of(staff, f"/patients/{patient_id}"))
    assert said["Now"] == "nothing answered yet" and said["Next"].startswith("Before surgery open")
    staff.case.now += timedelta(days=1)
    acts = facts(page_of(staff, f"/patients/{patient_id}"))["To act"]
    assert acts == "Staff: enter what became of the operation. Enter that it was operated"
    with staff.case.store.writing() as session:
        for timepoint in session.scalars(select(Timepoint).where(Timepoint.patient_id == patient_id)):
            timepoint.closes_on = staff.case.today - timedelta(days=1)
    assert facts(page_of(staff, f"/patients/{patient_id}"))["Next"] == "next after the operation"


def test_what_can_be_done_stands_beside_it_and_every_act_leads_somewhere(staff: StaffCase) -> None:
    page = page_of(staff, f"/patients/{staff.case.enrol()}")
    (acts,) = page.all("nav", klass="acts")
    assert [each.words for each in acts.all("dt")] == ["Answer", "Reach", "Operate", "Correct", "Leave"]
    assert len(acts.links) >= 14
    nurse = staff.sign_in("nurse")
    here = [href for href in acts.links if href.startswith("#")]
    assert here and [href for href in here if page.by_id(href[1:]) is None] == []
    assert [href for href in acts.links if href not in here and nurse.get(href).status_code != 200] == []


def test_the_rest_is_folded_until_it_is_asked_for_or_not_right(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(3), sheet(11))
    page = page_of(staff, f"/patients/{patient_id}")
    folds = list(page.all("details", klass="fold"))
    assert len(folds) == 7 and not any("open" in each.attributes for each in folds)
    wrong = staff.sign_in("nurse").post(f"/patients/{patient_id}/contact", {"channel_order": "email", "email": "none"})
    assert wrong.status_code == 422 and wrong.text.count('<details class="fold" open>') == 1


def test_where_no_message_goes_by_itself_it_names_who_is_to_act(staff: StaffCase) -> None:
    patient_id = staff.case.enrol()
    with staff.case.store.writing() as session:
        session.get_one(Patient, patient_id).messages_stopped_on = staff.case.today
    assert facts(page_of(staff, f"/patients/{patient_id}"))["To act"] == (
        "The patient, who asked for no messages, so none goes. Staff may call, or hand a letter out; Today asks for it once it is overdue."
    )
    with staff.case.store.writing() as session:
        for consent in session.get_one(Patient, patient_id).consents:
            consent.withdrawn_on = staff.case.today
    assert facts(page_of(staff, f"/patients/{patient_id}"))["To act"] == (
        "Staff: no consent to contact stands, so no message goes. Ask for it at a visit, or enter a withdrawal."
    )


def test_where_a_representative_answers_no_page_says_that_the_patient_is_asked(staff: StaffCase) -> None:
    patient_id = staff.case.enrol()
    with staff.case.store.writing() as session:
        patient = session.get_one(Patient, patient_id)
        patient.capacity_lost_on, patient.capacity_then, patient.representative = staff.case.today, "proxy", "B. Guard"
    assert facts(page_of(staff, f"/patients/{patient_id}"))["To act"] == (
        "The representative; reminders go by themselves, to the address on record."
    )
    nurse = staff.sign_in("nurse")
    assert "; a representative answers" in nurse.get("/today").text
    letter = nurse.get(f"/patients/{patient_id}/letter").text
    assert "To the representative of Ada" in letter and "Dear Ada" not in letter and "your date of birth." not in letter
