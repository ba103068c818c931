"""What follows from a try to reach a patient: the table, and that the database asks the same of the columns."""

from datetime import date, timedelta
from itertools import product

from sqlalchemy import select

from server.fields.person import ATTEMPT_RESULTS
from server.models import Timepoint
from server.queries.current import reminders_go_on
from server.schedule.after_contact import MESSAGE, TABLE, again_on, reminders_stopped
from server.worklist.words import TRIED
from tests.storehouse import TODAY, add_follow_up, add_operation, add_patient, add_timepoint
from tests.worklist.ward import DAY, Ward, ward

__all__ = ["ward"]


def test_every_result_that_staff_can_choose_has_its_row_and_its_words() -> None:
    assert set(TABLE) == {*ATTEMPT_RESULTS, MESSAGE}
    assert set(TRIED) == set(ATTEMPT_RESULTS)


def test_a_promise_is_three_days_and_a_refusal_has_no_day() -> None:
    friday = date(2026, 11, 27)
    assert again_on("promised", friday) == date(2026, 11, 30)
    assert again_on("declined", friday) is None
    assert again_on("reached", friday, friday + timedelta(days=5)) == date(2026, 12, 1)
    assert again_on("reached", friday, friday) == date(2026, 11, 28)
    assert again_on("declined", friday, friday + timedelta(days=5)) is None
    days = {result: TABLE[result].days for result in TABLE if result != "declined"}
    assert min(days.values(), key=lambda each: each or 0) == 1
    assert reminders_stopped("declined", None, friday + timedelta(days=300))
    assert reminders_stopped("declined", friday, friday + timedelta(days=300))
    assert reminders_stopped("promised", date(2026, 11, 30), date(2026, 11, 29))
    assert not reminders_stopped("promised", date(2026, 11, 30), date(2026, 11, 30))
    assert not reminders_stopped("no_answer", date(2026, 11, 30), friday)
    assert not reminders_stopped(None, None, friday)


def test_somebody_too_ill_is_left_in_peace_and_what_keeps_others_from_answering_is_the_next_persons_task() -> None:
    friday = date(2026, 11, 27)
    assert again_on("too_ill", friday) == date(2026, 12, 11)
    assert reminders_stopped("too_ill", date(2026, 12, 11), date(2026, 12, 10))
    assert not reminders_stopped("too_ill", date(2026, 12, 11), date(2026, 12, 11))
    for result in ("language", "no_device"):
        assert again_on(result, friday) == date(2026, 11, 30)
        assert not reminders_stopped(result, date(2026, 11, 30), friday)


def test_the_database_says_of_each_timepoint_what_the_table_says(ward: Ward) -> None:
    tries = list(product((None, *TABLE), (None, TODAY - DAY, TODAY, TODAY + DAY)))
    with ward.store.writing() as session:
        follow_up = add_follow_up(session, add_operation(session, add_patient(session), surgery_on=date(2024, 6, 15)))
        for number, (last, again) in enumerate(tries, start=1):
            add_timepoint(session, follow_up, "year-2", due_on=TODAY, attempt=number, last_try=last, again_on=again)
    with ward.store.reading() as session:
        go_on = set(session.scalars(select(Timepoint.attempt).where(reminders_go_on(TODAY))))
    assert go_on == {
        number for number, (last, again) in enumerate(tries, start=1) if not reminders_stopped(last, again, TODAY)
    }
    assert 0 < len(go_on) < len(tries)
