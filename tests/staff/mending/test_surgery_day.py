"""A day of surgery that moves after answers came: the page tells what changes before anything is saved."""

from datetime import UTC, datetime, time, timedelta

import pytest

from server.clinic.entries import ShoulderEntry
from server.models import Message
from server.schedule.clocks import FORMS_APART
from tests.staff.mending.mending_case import WHY, mend, operations_of, reasons, response_of, status, timepoint_of
from tests.staff.sent_form import inputs_of
from tests.staff.staff_case import Staff, StaffCase, years_ago

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def test_what_changes_is_told_before_it_is_saved_and_answers_are_placed_anew(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    ada = case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(case, 1)))
    response_id = staff.answer(timepoint_of(staff, ada, "year-1").id, {}, on=case.today)
    [operation] = operations_of(staff, ada)
    page = f"/patients/{ada}/operations/{operation}/day"
    earlier = (years_ago(case, 1) - timedelta(days=120)).isoformat()
    told = mend(nurse, page, surgery_on=earlier)
    assert told.status_code == 200 and "Nothing is saved yet." in told.text
    assert "answered in its window" in told.text and "answered after its window" in told.text
    assert timepoint_of(staff, ada, "year-1").window_state == "in" and reasons(staff) == []
    again = inputs_of(told.text, page)
    other_day = {**again, "told": "yes", "surgery_on": (years_ago(case, 1) - timedelta(days=10)).isoformat()}
    assert nurse.post(page, other_day).status_code == 200  # read for another day
    assert nurse.post(page, {**again, "told": "yes"}).location == f"/patients/{ada}?done=mended"
    assert timepoint_of(staff, ada, "year-1").window_state == "late"
    assert response_of(staff, response_id).counted
    assert ("surgery_on", years_ago(case, 1).isoformat(), earlier, WHY) in reasons(staff)


def test_a_day_put_right_by_years_moves_an_answered_row_too_though_its_window_lies_far_ahead_then(
    staff: StaffCase, nurse: Staff
) -> None:
    case = staff.case
    ada = case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(case, 2)))
    staff.answer(timepoint_of(staff, ada, "year-2").id, {}, on=case.today)
    [operation] = operations_of(staff, ada)
    page = f"/patients/{ada}/operations/{operation}/day"
    later = case.today - timedelta(days=60)
    told = mend(nurse, page, surgery_on=later.isoformat())
    assert nurse.post(page, {**inputs_of(told.text, page), "told": "yes"}).status_code == 302
    row = timepoint_of(staff, ada, "year-2")
    assert (row.anchor_on, row.window_state) == (later.replace(year=later.year + 2), "early")
    assert row.opens_on > case.today + timedelta(days=400)


def test_nothing_that_nobody_was_asked_becomes_missed(staff: StaffCase, nurse: Staff) -> None:
    case = staff.case
    ada = case.enrol(ShoulderEntry(side="left", surgery_on=case.today - timedelta(days=100)))
    form = timepoint_of(staff, ada, "year-1").id
    [operation] = operations_of(staff, ada)
    page = f"/patients/{ada}/operations/{operation}/day"
    decades = years_ago(case, 3).isoformat()
    told = mend(nurse, page, surgery_on=decades)
    assert "missed" not in told.text.split("Nothing is saved yet.")[1].split("Nothing that nobody")[0]
    assert nurse.post(page, {**inputs_of(told.text, page), "told": "yes"}).status_code == 302
    assert status(staff, form) not in ("missed", "overdue", "non_responder")


def test_a_form_that_was_fetched_for_another_timepoint_asks_for_none_whose_window_moves_there_later(
    staff: StaffCase,
) -> None:
    case = staff.case
    fetched_on = case.today
    ada = case.enrol(ShoulderEntry(side="left", surgery_on=fetched_on - timedelta(days=45)))
    case.phone(ada).fetch()  # shows the form of week 6
    form = timepoint_of(staff, ada, "year-1").id
    case.now += timedelta(days=200)
    [operation] = operations_of(staff, ada)
    page = f"/patients/{ada}/operations/{operation}/day"
    nurse = staff.sign_in("nurse")
    told = mend(nurse, page, surgery_on=(fetched_on - timedelta(days=365)).isoformat())
    assert nurse.post(page, {**inputs_of(told.text, page), "told": "yes"}).status_code == 302
    assert status(staff, form) == "never_asked"


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
    page = f"/patients/{ada}/operations/{max(operations_of(staff, ada))}/day"
    told = mend(nurse, page, surgery_on=(case.today - timedelta(days=200)).isoformat())
    assert nurse.post(page, {**inputs_of(told.text, page), "told": "yes"}).status_code == 302
    form = timepoint_of(staff, ada, "year-1", revision=True)
    year_5 = timepoint_of(staff, ada, "year-5")
    assert form.asked_on is None and form.opens_on > case.today, "the message lies outside the window now"
    assert form.invites_on - year_5.invites_on > FORMS_APART and year_5.invites_on - sent_on < FORMS_APART
    assert year_5.carried_by_id == form.id


@pytest.mark.parametrize("wrong", ["", "2026-12-31", "1940-01-01"])
def test_a_day_that_cannot_be_is_refused(staff: StaffCase, nurse: Staff, wrong: str) -> None:
    ada = staff.case.enrol(ShoulderEntry(side="left", surgery_on=years_ago(staff.case, 1)))
    [operation] = operations_of(staff, ada)
    assert mend(nurse, f"/patients/{ada}/operations/{operation}/day", surgery_on=wrong).status_code == 422
