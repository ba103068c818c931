"""The clinic's calendar: which days are holidays, and how much working time lies between two instants.

Rules:

1. A working day is a chosen day of the week that is no holiday.
2. On each working day the clinic works from one time of its own clocks to another. What lies between is counted in real time, so that a
   clock change within those hours makes the day an hour shorter or longer.
3. A yearly holiday returns on the same days of every year, before and after the one it was entered for; one that begins on 29 February
   begins on the 28th in common years.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from server.schedule.dates import anniversary, local_day, local_instant, utc


@dataclass(frozen=True)
class Holiday:
    """Both days included; at most a year long if `yearly`."""

    first_on: date
    last_on: date
    yearly: bool = False

    def covers(self, day: date) -> bool:
        if not self.yearly:
            return self.first_on <= day <= self.last_on
        length = self.last_on - self.first_on
        begins = (anniversary(self.first_on, year - self.first_on.year) for year in (day.year - 1, day.year))
        return any(first <= day <= first + length for first in begins)


@dataclass(frozen=True)
class WorkingHours:
    """`weekdays` by ISO number, Monday is 1. `begins` and `ends` are times of the clocks in `zone`."""

    weekdays: frozenset[int]
    begins: time
    ends: time
    zone: str
    holidays: tuple[Holiday, ...] = ()


def is_holiday(day: date, holidays: Iterable[Holiday]) -> bool:
    return any(holiday.covers(day) for holiday in holidays)


def is_working_day(day: date, hours: WorkingHours) -> bool:
    return day.isoweekday() in hours.weekdays and not is_holiday(day, hours.holidays)


def worked_between(start: datetime, end: datetime, hours: WorkingHours) -> timedelta:
    """The working time from `start` to `end`, both aware; nothing when `end` is not after `start`."""
    start, end = utc(start), utc(end)
    day, last, total = local_day(start, hours.zone), local_day(end, hours.zone), timedelta()
    while day <= last:
        if is_working_day(day, hours):
            begins, ends = local_instant(day, hours.begins, hours.zone), local_instant(day, hours.ends, hours.zone)
            total += max(min(ends, end) - max(begins, start), timedelta())
        day += timedelta(days=1)
    return total
