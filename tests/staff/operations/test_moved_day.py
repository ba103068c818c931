"""A day of surgery that moves after answers came or somebody was called: the form tells what changes before anything is saved."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from sqlalchemy import select

from server.clinic.entries import ShoulderEntry
from server.models import ContactAttempt, Message, Timepoint
from server.schedule.clocks import FORMS_APART
from tests.staff.mending.mending_case import WHY, mend, operations_of, reasons, response_of, status, timepoint_of
from tests.staff.sent_form import inputs_of
from tests.staff.staff_case import Staff, StaffCase, years_ago
from tests.staff.visited import open_timepoint

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def form_of(staff: StaffCase, patient_id: int) -> str:
    [operation] = operations_of(staff, patient_id)
    return f"/patients/{patient_id}/operations/{operation}/edit"


def operated(staff: StaffCase, on: date) -> tuple[int, str]:
    patient_id = staff.case.enrol(ShoulderEntry(side="left", surgery_on=on))
    return patient_id, form_of(staff, patient_id)


def test_what_changes_is_told_before_it_is_saved_and_answers_are_placed_anew(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    ada, form = operated(staff, years_ago(case, 1))
    response_id = staff.answer(timepoint_of(staff, ada, "year-1").id, {}, on=case.today)
    earlier = (years_ago(case, 1) - timedelta(days=120)).isoformat()
    told = mend(nurse, form, surgery_on=earlier)
    assert told.status_code == 422 and "Nothing is saved yet." in told.text
    assert "answered in its window" in told.text and "answered after its window" in told.text
    assert timepoint_of(staff, ada, "year-1").window_state == "in" and reasons(staff) == []
    again = inputs_of(told.text, form)
    much_earlier = (years_ago(case, 1) - timedelta(days=130)).isoformat()
    other_day = nurse.post(form, {**again, "checked": "yes", "surgery_on": much_earlier})
    assert other_day.status_code == 422 and "answered after its window" in other_day.text
    assert nurse.post(form, {**again, "checked": "yes"}).status_code == 302
    assert timepoint_of(staff, ada, "year-1").window_state == "late"
    assert response_of(staff, response_id).counted
    assert ("surgery_on", years_ago(case, 1).isoformat(), earlier, WHY) in reasons(staff)


def test_a_day_that_makes_nothing_else_of_any_form_is_saved_at_once(staff: StaffCase, nurse: Staff) -> None:
    ada, form = operated(staff, years_ago(staff.case, 1))
    staff.answer(timepoint_of(staff, ada, "year-1").id, {}, on=staff.case.today)
    day_before = years_ago(staff.case, 1) - timedelta(days=1)
    assert mend(nurse, form, surgery_on=day_before.isoformat()).status_code == 302
    assert timepoint_of(staff, ada, "year-1").anchor_on == day_before.replace(year=day_before.year + 1)


def test_a_day_put_right_by_years_moves_an_answered_row_too_though_its_window_lies_far_ahead_then(
    staff: StaffCase, nurse: Staff
) -> None:
    case = staff.case
    ada, form = operated(staff, years_ago(case, 2))
    staff.answer(timepoint_of(staff, ada, "year-2").id, {}, on=case.today)
    later = case.today - timedelta(days=60)
    told = mend(nurse, form, surgery_on=later.isoformat())
    assert "answered before its window" in told.text
    assert nurse.post(form, {**inputs_of(told.text, form), "checked": "yes"}).status_code == 302
    row = timepoint_of(staff, ada, "year-2")
    assert (row.anchor_on, row.window_state) == (later.replace(year=later.year + 2), "early")
    assert row.opens_on > case.today + timedelta(days=400)


def test_nothing_that_nobody_was_asked_becomes_missed(staff: StaffCase, nurse: Staff) -> None:
    ada, form = operated(staff, staff.case.today - timedelta(days=100))
    row = timepoint_of(staff, ada, "year-1").id
    assert mend(nurse, form, surgery_on=years_ago(staff.case, 3).isoformat()).status_code == 302
    assert status(staff, row) not in ("missed", "overdue", "non_responder")


def test_a_form_that_was_fetched_for_another_timepoint_asks_for_none_whose_window_moves_there_later(
    staff: StaffCase,
) -> None:
    case = staff.case
    fetched_on = case.today
    ada, form = operated(staff, fetched_on - timedelta(days=45))
    case.phone(ada).fetch()  # shows the form of week 6
    row = timepoint_of(staff, ada, "year-1").id
    case.now += timedelta(days=200)
    moved = mend(staff.sign_in("nurse"), form, surgery_on=(fetched_on - timedelta(days=365)).isoformat())
    assert moved.status_code == 302
    assert status(staff, row) == "never_asked"


def test_a_planned_day_that_moves_far_tells_that_the_answer_before_surgery_is_early(
    staff: StaffCase, nurse: Staff
) -> None:
    case = staff.case
    ada = case.enrol(ShoulderEntry(side="left", surgery_planned_on=case.today + timedelta(days=10)))
    form, later = form_of(staff, ada), (case.today + timedelta(days=300)).isoformat()
    staff.answer(open_timepoint(staff, ada, "baseline"), {}, on=case.today)
    told = mend(nurse, form, surgery_planned_on=later, why="")
    assert told.status_code == 422 and "answered before its window" in told.text
    assert nurse.post(form, {**inputs_of(told.text, form), "checked": "yes"}).status_code == 302
    assert ("surgery_planned_on", (case.today + timedelta(days=10)).isoformat(), later, None) in reasons(staff)


@pytest.mark.parametrize(
    ("came", "called"), [("a call", True), ("a fetch", True), ("a call that was taken back", False), ("nothing", False)]
)
def test_after_a_call_or_a_fetch_the_page_tells_also_what_becomes_of_forms_without_an_answer(
    staff: StaffCase, nurse: Staff, came: str, called: bool
) -> None:
    ada, form = operated(staff, staff.case.today - timedelta(days=100))
    if came.startswith("a call"):
        nurse.post(f"/patients/{ada}/attempts", {"channel": "telephone", "result": "no_answer"})
    with staff.case.store.writing() as session:
        if came == "a fetch":
            asked = session.get_one(Timepoint, timepoint_of(staff, ada, "week-6").id)
            asked.asked_on = asked.opens_on
        if came.endswith("taken back"):
            session.scalars(select(ContactAttempt)).one().taken_back_at = staff.case.now
    moved = mend(nurse, form, surgery_on=(staff.case.today - timedelta(days=40)).isoformat())
    assert (moved.status_code, "Left shoulder, 6 weeks" in moved.text) == ((422, True) if called else (302, False))


def test_a_planned_operation_that_is_done_tells_only_what_becomes_of_answers(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    ada = case.enrol(ShoulderEntry(side="left", surgery_planned_on=case.today + timedelta(days=10)))
    form = form_of(staff, ada)
    staff.answer(open_timepoint(staff, ada, "baseline"), {}, on=case.today)
    before_that = (case.today - timedelta(days=3)).isoformat()
    told = mend(nurse, form, surgery_on=before_that, why="")
    assert told.status_code == 422 and told.text.count('<th scope="row">') == 1
    assert mend(nurse, form, surgery_on=case.today.isoformat(), why="").status_code == 302


def test_a_form_that_was_sent_before_the_day_moved_still_keeps_the_other_operations_form_90_days_away(
    staff: StaffCase, nurse: Staff
) -> None:
    case, five_years = staff.case, years_ago(staff.case, 5)
    sent_on = case.today - timedelta(days=5)
    ada = case.enrol(ShoulderEntry(side="left", surgery_on=five_years + timedelta(days=34)))
    revised_on = case.today - timedelta(days=360)
    revision = {"side": "left", "kind": "revision", "reason": "pain", "surgery_on": revised_on.isoformat()}
    assert nurse.post(f"/patients/{ada}/operations/new", revision).status_code == 302
    with case.store.writing() as session:
        form = timepoint_of(staff, ada, "year-1", revision=True)
        at = datetime.combine(sent_on, time(9, 0), tzinfo=UTC)
        kept = {"step": "invitation", "channel": "email", "made_at": at, "lease_no": 1, "tries": 1}
        session.add(Message(timepoint_id=form.id, outcome="sent", done_at=at, **kept))
    page = f"/patients/{ada}/operations/{max(operations_of(staff, ada))}/edit"
    assert mend(nurse, page, surgery_on=(case.today - timedelta(days=200)).isoformat()).status_code == 302
    form = timepoint_of(staff, ada, "year-1", revision=True)
    year_5 = timepoint_of(staff, ada, "year-5")
    assert form.asked_on is None and form.opens_on > case.today, "the message lies outside the window now"
    assert form.invites_on - year_5.invites_on > FORMS_APART and year_5.invites_on - sent_on < FORMS_APART
    assert year_5.carried_by_id == form.id


@pytest.mark.parametrize("wrong", ["2026-12-31", "1940-01-01", "last year"])
def test_a_day_that_cannot_be_is_refused(staff: StaffCase, nurse: Staff, wrong: str) -> None:
    ada, form = operated(staff, years_ago(staff.case, 1))
    staff.answer(timepoint_of(staff, ada, "year-1").id, {}, on=staff.case.today)
    refused = mend(nurse, form, surgery_on=wrong)
    assert refused.status_code == 422 and "these forms would stand otherwise" not in refused.text
