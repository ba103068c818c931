"""Anniversaries, and what day it is where."""

from datetime import UTC, date, datetime, time, timedelta, timezone
from zoneinfo import available_timezones

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.schedule.dates import anniversary, local_day, local_instant, start_of_day, zone_named

# Clock changes by an hour at night, by half an hour, at midnight, and none; both sides of the date line.
ZONES = [
    "America/New_York",
    "America/Sao_Paulo",
    "Asia/Beirut",
    "Asia/Kathmandu",
    "Australia/Lord_Howe",
    "Europe/Madrid",
    "Pacific/Apia",
    "Pacific/Auckland",
    "Pacific/Honolulu",
    "Pacific/Kiritimati",
]
instants = st.timedeltas(timedelta(0), timedelta(days=9000)).map(datetime(2012, 1, 2, tzinfo=UTC).__add__)


def at(text: str) -> datetime:
    return datetime.fromisoformat(text)


def test_surgery_on_29_february_has_its_anniversary_on_the_28th_in_common_years_and_on_the_29th_in_leap_years() -> None:
    leap_day = date(2024, 2, 29)
    assert anniversary(leap_day, 1) == date(2025, 2, 28)
    assert anniversary(leap_day, 4) == date(2028, 2, 29)
    assert anniversary(leap_day, 0) == leap_day
    assert anniversary(date(2000, 2, 29), 100) == date(2100, 2, 28)  # 2100 is no leap year


def test_an_anniversary_outside_the_calendar_is_refused() -> None:
    with pytest.raises(ValueError):
        anniversary(date(2024, 2, 28), 8000)
    with pytest.raises(ValueError):
        anniversary(date(2024, 2, 29), 8000)


@given(surgery_on=st.dates(date(1900, 1, 1), date(2100, 1, 1)), k=st.integers(0, 120))
def test_the_k_th_anniversary_is_the_same_day_and_month_k_years_on(surgery_on: date, k: int) -> None:
    found = anniversary(surgery_on, k)
    assert found.year == surgery_on.year + k
    assert found.month == surgery_on.month
    assert found.day == surgery_on.day or (found.month, found.day, surgery_on.day) == (2, 28, 29)


@given(surgery_on=st.dates(date(1900, 1, 1), date(2100, 1, 1)), k=st.integers(1, 120))
def test_anniversaries_are_a_year_apart_to_the_day_or_two(surgery_on: date, k: int) -> None:
    apart = anniversary(surgery_on, k) - anniversary(surgery_on, k - 1)
    assert timedelta(days=365) <= apart <= timedelta(days=366)


def test_one_instant_is_two_calendar_days_on_the_two_sides_of_the_date_line() -> None:
    now = at("2025-03-01T10:30:00+00:00")
    assert local_day(now, "Pacific/Kiritimati") == date(2025, 3, 2)
    assert local_day(now, "Europe/Madrid") == date(2025, 3, 1)
    assert local_day(now, "Pacific/Pago_Pago") == date(2025, 2, 28)


def test_a_clinics_day_turns_at_its_own_midnight_and_not_at_midnight_utc() -> None:
    assert local_day(at("2025-07-10T21:59:59+00:00"), "Europe/Madrid") == date(2025, 7, 10)
    assert local_day(at("2025-07-10T22:00:00+00:00"), "Europe/Madrid") == date(2025, 7, 11)
    assert local_day(at("2025-01-10T22:30:00+00:00"), "Europe/Madrid") == date(2025, 1, 10)  # winter: an hour later


def test_the_instant_may_come_with_any_offset() -> None:
    new_york_evening = datetime(2025, 3, 1, 23, 30, tzinfo=timezone(timedelta(hours=-5)))
    assert local_day(new_york_evening, "Europe/Madrid") == date(2025, 3, 2)


def test_a_naive_instant_is_refused() -> None:
    with pytest.raises(ValueError, match="time zone"):
        local_day(datetime(2025, 3, 1, 12), "Europe/Madrid")  # noqa: DTZ001 - the very thing refused


@pytest.mark.parametrize("name", ["", "Europe", "Europe/Nowhere", "/etc/passwd", "../UTC", "\0"])
def test_a_name_that_is_no_zone_is_refused_with_the_name(name: str) -> None:
    with pytest.raises(ValueError, match="not a time zone"):
        zone_named(name)


def test_the_day_the_clocks_change_has_23_or_25_hours() -> None:
    def hours(day: date) -> float:
        ends = start_of_day(day + timedelta(days=1), "Europe/Madrid")
        return (ends - start_of_day(day, "Europe/Madrid")) / timedelta(hours=1)

    assert hours(date(2025, 3, 30)) == 23
    assert hours(date(2025, 10, 26)) == 25
    assert hours(date(2025, 6, 15)) == 24


def test_a_day_begins_at_one_where_the_clock_change_skips_midnight() -> None:
    begins = start_of_day(date(2018, 11, 4), "America/Sao_Paulo")
    assert begins == at("2018-11-04T03:00:00+00:00")
    assert begins.astimezone(zone_named("America/Sao_Paulo")).time() == time(1, 0)
    assert local_day(begins - timedelta(seconds=1), "America/Sao_Paulo") == date(2018, 11, 3)


def test_a_day_begins_with_the_first_of_two_midnights() -> None:
    begins = start_of_day(date(2025, 11, 2), "America/Havana")  # at 01:00 clocks go back to 00:00
    assert begins == at("2025-11-02T04:00:00+00:00")


def test_a_day_the_date_line_took_away_begins_and_ends_at_one_instant() -> None:
    left_out = date(2011, 12, 30)
    assert start_of_day(left_out, "Pacific/Apia") == start_of_day(date(2011, 12, 31), "Pacific/Apia")


def test_a_time_the_clock_change_skips_is_taken_after_it_and_one_that_occurs_twice_the_first_time() -> None:
    assert local_instant(date(2025, 3, 30), time(2, 30), "Europe/Madrid") == at("2025-03-30T03:30:00+02:00")
    assert local_instant(date(2025, 10, 26), time(2, 30), "Europe/Madrid") == at("2025-10-26T02:30:00+02:00")


@given(now=instants, zone=st.sampled_from(ZONES))
def test_every_instant_lies_in_the_day_it_is(now: datetime, zone: str) -> None:
    day = local_day(now, zone)
    assert start_of_day(day, zone) <= now < start_of_day(day + timedelta(days=1), zone)


@given(now=instants, zone=st.sampled_from(ZONES), later=st.timedeltas(timedelta(0), timedelta(days=2)))
def test_today_never_goes_back(now: datetime, zone: str, later: timedelta) -> None:
    assert local_day(now, zone) <= local_day(now + later, zone)


def test_every_zone_begins_every_day_around_its_clock_changes_of_2025_and_2026_on_that_day() -> None:
    wrong, looked_at = [], 0
    for zone in sorted(available_timezones()):
        for day in (change + timedelta(days=step) for change in clock_changes(zone) for step in (-1, 0, 1)):
            begins_at, looked_at = start_of_day(day, zone), looked_at + 1
            if local_day(begins_at, zone) != day or local_day(begins_at - timedelta(microseconds=1), zone) >= day:
                wrong.append((zone, day))
    assert wrong == []
    assert looked_at > 1000


def clock_changes(zone: str) -> list[date]:
    """Days of both years on which noon has another offset than the day before; found week by week, since nobody changes twice in one."""
    first, place = datetime(2025, 1, 1, 12, tzinfo=zone_named(zone)), zone_named(zone)

    def offset(number: int) -> timedelta | None:
        return place.utcoffset(first + timedelta(days=number))

    weekly = [offset(number) for number in range(0, 730, 7)]
    weeks = [7 * n for n in range(len(weekly) - 1) if weekly[n] != weekly[n + 1]]
    days = (number + step for number in weeks for step in range(1, 8))
    return [(first + timedelta(days=number)).date() for number in days if offset(number) != offset(number - 1)]
