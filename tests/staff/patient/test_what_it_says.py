"""The plain words beside the chart, made from a record: counted, listed, and silent where nothing is known."""

from datetime import timedelta
from typing import Any

import pytest

from server.clinic.enrol import add_operation
from server.clinic.entries import ShoulderEntry
from server.clinic.surgery import surgery_cancelled
from server.jobs.clock import tick
from server.models import Patient
from server.timepoints.plans import shipped_plans
from tests.operated import done_on
from tests.staff.course_case import followed, revised, sheet
from tests.staff.html_page import read_page
from tests.staff.staff_case import StaffCase, years_ago
from tests.staff.visited import open_timepoint
from tests.texts.going_live import go_live

# What a page says does not depend on the database; the forms, the list and signing in are tested on both.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def page_of(staff: StaffCase, patient_id: int) -> str:
    staff.signed_in.clear()  # the clock may have moved past the end of a session
    return read_page(staff.sign_in("nurse").get(f"/patients/{patient_id}").text).words


def test_before_anything_is_answered_it_says_only_that(staff: StaffCase) -> None:
    page = page_of(staff, staff.case.enrol())
    assert "The first form is open; nothing is answered yet." in page and "No answers yet" in page
    assert "measurement error" not in page and "Read with care" not in page


def test_the_change_is_told_from_the_answer_before_surgery(staff: StaffCase) -> None:
    case = staff.case
    planned = case.today + timedelta(days=10)
    patient_id = case.enrol(ShoulderEntry(side="left", surgery_planned_on=planned))
    few = {f"sst@1/{item}": 0 for item in range(4, 13)}
    staff.answer(open_timepoint(staff, patient_id, "baseline"), {**few, "pass@1/1": 0}, on=case.today)
    case.now += timedelta(days=11)
    with case.store.writing() as session:
        operation = session.get_one(Patient, patient_id).shoulders[0].operations[0]
        done_on(session, operation, planned, now=case.now, today=case.today)
    case.now += timedelta(days=360)
    staff.answer(open_timepoint(staff, patient_id, "year-1"), {"sst@1/12": 0}, on=case.today)
    page = page_of(staff, patient_id)
    assert "Shoulder test since before surgery: 3 to 11." in page
    assert "Two of two forms answered; never asked, as nobody could be reached: 6 weeks." in page


def test_the_answer_before_a_revision_is_not_taken_for_one_before_the_first_operation(staff: StaffCase) -> None:
    case = staff.case
    patient_id = case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(case, 3)))
    with case.store.writing() as session:
        patient = session.get_one(Patient, patient_id)
        entry = ShoulderEntry(side="left", kind="revision", surgery_planned_on=case.today + timedelta(days=10))
        add_operation(
            session, patient, entry, plan=shipped_plans()["standard@1"], now=case.now, today=case.today, by_id=None
        )
    few = {f"sst@1/{item}": 0 for item in range(4, 13)}
    staff.answer(open_timepoint(staff, patient_id, "baseline"), few, on=case.today)
    case.now += timedelta(days=5)
    page = page_of(staff, patient_id)
    assert "There is no answer from before surgery, so no change since then can be told." in page
    assert "Shoulder test since" not in page
    assert "Before the revision" in page and "before surgery after the revision" not in page.lower()


def test_a_cancelled_first_operation_is_not_the_first_operation(staff: StaffCase) -> None:
    case = staff.case
    planned = case.today + timedelta(days=10)
    known: dict[str, Any] = {"today": case.today, "by_id": None}
    patient_id = case.enrol(ShoulderEntry(side="left", surgery_planned_on=planned))
    with case.store.writing() as session:
        patient = session.get_one(Patient, patient_id)
        entry = ShoulderEntry(side="left", surgery_planned_on=planned)
        surgery_cancelled(session, patient.shoulders[0].operations[0], case.today, reason="", now=case.now, **known)
        add_operation(session, patient, entry, plan=shipped_plans()["standard@1"], now=case.now, **known)
        again = patient.shoulders[0].operations[1].follow_ups[0].timepoints[0].id
    staff.answer(again, {f"sst@1/{item}": 0 for item in range(4, 13)}, on=case.today)
    case.now += timedelta(days=11)
    with case.store.writing() as session:
        operation = session.get_one(Patient, patient_id).shoulders[0].operations[1]
        done_on(session, operation, planned, now=case.now, today=case.today)
    case.now += timedelta(days=360)
    staff.answer(open_timepoint(staff, patient_id, "year-1"), {"sst@1/12": 0}, on=case.today)
    assert "Shoulder test since before surgery: 3 to 11." in page_of(staff, patient_id)


def test_nothing_is_said_of_a_threshold_when_nothing_changed(staff: StaffCase) -> None:
    case = staff.case
    patient_id = case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(case, 1)))
    staff.answer(open_timepoint(staff, patient_id, "year-1"), {}, on=case.today)
    case.now += timedelta(days=365)
    staff.answer(open_timepoint(staff, patient_id, "year-2"), {}, on=case.today)
    page = page_of(staff, patient_id)
    assert "The shoulder test is as it was at year 1." in page and "measurement error (2.8)" not in page
    assert "The answer was yes each of two times since 2026." in page


def test_a_telephone_answer_is_read_with_care(staff: StaffCase) -> None:
    case = staff.case
    patient_id = case.enrol()
    staff.answer(open_timepoint(staff, patient_id, "year-1"), {}, on=case.today, mode="telephone")
    page = page_of(staff, patient_id)
    assert "By telephone: year 1; a voice on the telephone tends to get better answers." in page
    assert "in our own words, not the owner's wording" in page


def test_a_form_that_could_not_be_asked_is_said_and_counted_apart(staff: StaffCase) -> None:
    case = staff.case
    go_live(case)
    patient_id = case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(case, 1)))
    tick(case.runtime)
    page = page_of(staff, patient_id)
    assert "not sent" in page and "stays back since 15 Jun 2026: four texts of it may not be sent" in page
    case.now += timedelta(days=70)
    tick(case.runtime)
    page = page_of(staff, patient_id)
    assert "Nothing is answered yet; could not be asked, as a text might not be sent or was missing: year 1." in page
    assert "stayed back since 15 Jun 2026: four texts of it might not be sent" in page and "missed:" not in page


@pytest.mark.parametrize(
    ("answers", "said"),
    [
        ((1,), "Asked once after surgery, 16 June 2027: yes."),
        ((1, 1), "The answer was yes each of two times since 2027."),
        ((1, 0), "Last answer no (2028); the one before that was yes."),
        ((1, 0, 1, 1), "Last answer yes, the same since 2029; the one before that was no."),
    ],
)
def test_the_acceptable_state_says_no_more_than_was_answered(
    staff: StaffCase, answers: tuple[int, ...], said: str
) -> None:
    assert said in page_of(staff, followed(staff, None, *(sheet(9, own=each) for each in answers)))


def test_a_form_before_a_revision_is_not_called_less_than_an_earlier_one(staff: StaffCase) -> None:
    patient_id = followed(staff, sheet(11), sheet(12), sheet(9))
    revised(staff, patient_id, sheet(2))
    page = page_of(staff, patient_id)
    assert "Shoulder test since before surgery: 11 to 2" in page
    assert "than at year 1" not in page
