"""Holidays, and working time between two instants: weekends, the year's end, clock changes."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from server.schedule.working_time import Holiday, WorkingHours, is_holiday, is_working_day, worked_between

MADRID = "Europe/Madrid"
CHRISTMAS = Holiday(date(2026, 12, 24), date(2027, 1, 6), yearly=True)
OFFICE = WorkingHours(frozenset({1, 2, 3, 4, 5}), time(8), time(16), MADRID)


def at(text: str, zone: str = MADRID) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone))


def hours(start: str, end: str, office: WorkingHours = OFFICE) -> float:
    return worked_between(at(start, office.zone), at(end, office.zone), office) / timedelta(hours=1)


@pytest.mark.parametrize(
    ("start", "end", "expected"),
    [
        ("2026-06-15T09:00", "2026-06-15T13:00", 4),  # a Monday
        ("2026-06-15T05:00", "2026-06-15T23:00", 8),  # before and after the hours nobody works
        ("2026-06-15T15:00", "2026-06-16T09:30", 2.5),
        ("2026-06-19T15:00", "2026-06-22T09:00", 2),  # over a weekend
        ("2026-06-20T08:00", "2026-06-21T20:00", 0),  # within one
        (
            "2026-12-31T15:00",
            "2027-01-04T09:00",
            10,
        ),  # New Year is a Friday like others while nobody says it is a holiday
        ("2026-06-15T13:00", "2026-06-15T09:00", 0),  # a clock that was set back
    ],
)
def test_only_the_hours_of_working_days_count(start: str, end: str, expected: float) -> None:
    assert hours(start, end) == expected


def test_holidays_count_as_nothing_over_the_years_end() -> None:
    office = WorkingHours(OFFICE.weekdays, OFFICE.begins, OFFICE.ends, MADRID, (CHRISTMAS,))
    assert hours("2026-12-23T15:00", "2027-01-07T09:00", office) == 2
    assert hours("2031-12-23T15:00", "2032-01-07T09:00", office) == 2


@pytest.mark.parametrize(
    ("day", "expected"), [("2026-03-29", 23), ("2026-10-25", 25), ("2026-03-30", 24)], ids=["spring", "autumn", "next"]
)
def test_a_clock_change_within_the_hours_makes_the_day_shorter_or_longer(day: str, expected: int) -> None:
    always = WorkingHours(frozenset(range(1, 8)), time(0), time(23, 59), MADRID)
    whole = worked_between(at(f"{day}T00:00"), at(f"{day}T23:59"), always)
    assert whole == timedelta(hours=expected) - timedelta(minutes=1)


def test_a_clock_change_at_night_leaves_office_hours_as_they_are() -> None:
    every_day = WorkingHours(frozenset(range(1, 8)), OFFICE.begins, OFFICE.ends, MADRID)
    assert hours("2026-03-28T12:00", "2026-03-30T12:00", every_day) == 4 + 8 + 4


def test_the_day_is_that_of_the_clinics_zone() -> None:
    auckland = WorkingHours(frozenset({1}), time(8), time(16), "Pacific/Auckland")
    sunday_evening = datetime(2026, 6, 14, 20, 0, tzinfo=UTC)  # eight on Monday morning there
    assert worked_between(sunday_evening, sunday_evening + timedelta(hours=3), auckland) == timedelta(hours=3)
    assert worked_between(sunday_evening, sunday_evening + timedelta(hours=3), OFFICE) == timedelta()


@pytest.mark.parametrize("day", ["2026-12-24", "2027-01-06", "2019-12-31", "2020-01-01", "2040-01-06"])
def test_a_yearly_holiday_returns_every_year(day: str) -> None:
    assert is_holiday(date.fromisoformat(day), [CHRISTMAS])


@pytest.mark.parametrize("day", ["2026-12-23", "2027-01-07", "2030-06-01"])
def test_other_days_are_none(day: str) -> None:
    assert not is_holiday(date.fromisoformat(day), [CHRISTMAS])


def test_a_holiday_of_one_year_does_not_return() -> None:
    strike = Holiday(date(2026, 6, 15), date(2026, 6, 16))
    assert [day for day in range(13, 19) if is_holiday(date(2026, 6, day), [strike])] == [15, 16]
    assert not is_holiday(date(2027, 6, 15), [strike])


def test_29_february_is_the_28th_in_common_years() -> None:
    leap_day = Holiday(date(2028, 2, 29), date(2028, 2, 29), yearly=True)
    assert is_holiday(date(2032, 2, 29), [leap_day]) and not is_holiday(date(2032, 2, 28), [leap_day])
    assert is_holiday(date(2027, 2, 28), [leap_day]) and not is_holiday(date(2027, 3, 1), [leap_day])


def test_a_clinic_chooses_its_days_of_the_week() -> None:
    cairo = WorkingHours(frozenset({7, 1, 2, 3, 4}), time(8), time(16), "Africa/Cairo")
    assert is_working_day(date(2026, 6, 14), cairo)  # a Sunday
    assert not is_working_day(date(2026, 6, 19), cairo)  # a Friday
