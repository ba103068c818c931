"""Calendar days and instants.

A day is a `date` of one calendar; an instant is an aware `datetime`. Zones are IANA names. A local time is only ever a
step between an instant and a day: arithmetic is done on days or on UTC, so that a clock change is nobody's special
case.
"""

from calendar import monthrange
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError


def anniversary(surgery_on: date, k: int) -> date:
    """The k-th anniversary; 29 February falls on 28 February in common years. k = 0 is the day itself.

    Always counted from the surgery date: stepping from one anniversary to the next would lose 29 February for good.
    """
    try:
        return surgery_on.replace(year=surgery_on.year + k)
    except ValueError:
        if (surgery_on.month, surgery_on.day) != (2, 29):
            raise  # a year outside 1 to 9999
        return date(surgery_on.year + k, 2, 28)


def last_possible(on: date, precision: str | None) -> date:
    """The last day that a day known to its month or year can be; `on` is the first."""
    if precision == "year":
        return date(on.year, 12, 31)
    return on.replace(day=monthrange(on.year, on.month)[1]) if precision == "month" else on


def middle_day(on: date, precision: str) -> date:
    """Where a day known to its month or year stands when days are compared: the 15th, or 1 July."""
    if precision == "year":
        return date(on.year, 7, 1)
    return on.replace(day=15) if precision == "month" else on


def zone_named(name: str) -> ZoneInfo:
    """The IANA zone; ValueError with the name for anything else."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as problem:  # OSError: a name that is a folder, "Europe"
        raise ValueError(f"not a time zone: {name!r}") from problem


def utc(at: datetime) -> datetime:
    """The same instant in UTC; ValueError when it is naive."""
    if at.utcoffset() is None:
        raise ValueError("an instant needs a time zone")
    return at.astimezone(UTC)


def local_day(at: datetime, zone: str) -> date:
    """The calendar day it is in `zone` at the instant `at`: a clinic's today is `local_day(now, clinic.time_zone)`."""
    return utc(at).astimezone(zone_named(zone)).date()


def local_instant(day: date, at: time, zone: str) -> datetime:
    """The UTC instant at which clocks in `zone` show `day` and `at`.

    A time that a clock change skips is taken as far after the change as it was past it (02:30 becomes 03:30); one that
    occurs twice is taken the first time. Both follow from fold=0 (PEP 495).
    """
    return datetime.combine(day, at.replace(fold=0, tzinfo=None), tzinfo=zone_named(zone)).astimezone(UTC)


def start_of_day(day: date, zone: str) -> datetime:
    """The UTC instant at which `day` begins in `zone`, also where midnight is skipped or occurs twice.

    A day that a zone left out (30 December 2011 in Pacific/Apia) begins and ends at the same instant.
    """
    return local_instant(day, time.min, zone)
