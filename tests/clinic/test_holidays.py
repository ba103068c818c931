"""The clinic's holidays: entered once, removed and kept; nobody is reminded on one, and the day after as if nothing had run."""

import json
from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import select

from server.clinic.holidays import add_holiday, remove_holiday
from server.fields.check import EntryRefused
from server.models import AuditEntry, ClinicHoliday
from server.queries.holidays import read_holidays
from server.schedule.working_time import Holiday
from tests.clinic_case import Case, case
from tests.reminders.cast import CLOSES, INVITES, LADDER, REMINDS, House, right

__all__ = ["case"]
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
A_DAY = timedelta(days=1)


@pytest.fixture
def house(case: Case) -> House:
    return House(case)


def enter(case: Case, first_on: date, last_on: date | None = None, **more: Any) -> int:
    with case.store.writing() as session:
        values = {"first_on": first_on, "last_on": last_on, **more}
        return add_holiday(session, values, now=case.now, today=case.today, by_id=None).id


def remove(case: Case, holiday_id: int) -> bool:
    with case.store.writing() as session:
        return remove_holiday(session, holiday_id, now=case.now, by_id=None)


def standing(case: Case) -> tuple[Holiday, ...]:
    with case.store.reading() as session:
        return read_holidays(session)


def test_entered_twice_it_stands_once_and_removed_it_stays_as_history(case: Case) -> None:
    first = enter(case, date(2026, 12, 25), yearly=True, name="Christmas")
    assert enter(case, date(2026, 12, 25), yearly=True) == first
    assert standing(case) == (Holiday(date(2026, 12, 25), date(2026, 12, 25), yearly=True),)
    assert (remove(case, first), remove(case, first), remove(case, 99)) == (True, False, False)
    assert standing(case) == ()
    again = enter(case, date(2026, 12, 25), yearly=True)
    assert again != first
    with case.store.reading() as session:
        assert [row.name for row in session.scalars(select(ClinicHoliday).order_by(ClinicHoliday.id))] == [
            "Christmas",
            None,
        ]
        actions = session.scalars(
            select(AuditEntry.action).where(AuditEntry.action.like("holiday:%")).order_by(AuditEntry.id)
        )
        assert list(actions) == ["holiday:added", "holiday:removed", "holiday:added"]
        told = session.scalars(select(AuditEntry.detail).where(AuditEntry.action == "holiday:added")).first()
        assert json.loads(told or "") == {"first_on": "2026-12-25", "last_on": "2026-12-25", "yearly": True}


@pytest.mark.parametrize(
    ("last_on", "sentence"),
    [(date(2026, 7, 31), "before the first"), (date(2027, 8, 1), "more days than a year")],
)
def test_days_that_cannot_be_are_refused(case: Case, last_on: date, sentence: str) -> None:
    with pytest.raises(EntryRefused, match=sentence):
        enter(case, date(2026, 8, 1), last_on)
    assert standing(case) == ()


def test_a_step_that_falls_on_a_holiday_goes_on_the_next_day_that_is_none(house: House) -> None:
    house.case.enrol(right())
    enter(house.case, INVITES, INVITES + A_DAY)
    house.days(INVITES - A_DAY, CLOSES)
    assert house.letter_days() == [INVITES + 2 * A_DAY, *REMINDS]
    assert list(house.outcomes().values()) == ["sent"] * len(LADDER)


def test_of_two_steps_within_one_holiday_only_the_later_goes(house: House) -> None:
    house.case.enrol(right())
    enter(house.case, REMINDS[0], REMINDS[1] + A_DAY)
    house.days(INVITES, CLOSES)
    assert house.letter_days() == [INVITES, REMINDS[1] + 2 * A_DAY, REMINDS[2]]
    assert house.outcomes()["reminder-1"] == "passed_over"


def test_a_holiday_that_was_removed_holds_nothing_back(house: House) -> None:
    house.case.enrol(right())
    remove(house.case, enter(house.case, INVITES))
    house.one_day(INVITES)
    assert house.letter_days() == [INVITES]


def test_a_window_opens_and_closes_on_a_holiday_as_on_any_day(house: House) -> None:
    house.case.enrol(right())
    enter(house.case, date(2026, 6, 20), CLOSES + A_DAY)
    house.days(date(2026, 6, 28), CLOSES + A_DAY)
    assert house.letter_days() == []
    assert [status for status, _day in house.history()] == ["open", "overdue", "never_asked"]
