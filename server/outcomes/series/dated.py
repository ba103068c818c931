"""Where the operations and the death of one shoulder stand in every figure, where a day is known only to its month or year.

Such a day stands at the 15th of its month or at 1 July, kept inside surgery and last contact, and in the order in which the operations
were done. `first` and `last` are the days between which it lies: both ends are shown as sensitivity.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from server.outcomes.series.followed import DatedFact
from server.schedule.dates import last_possible, middle_day


@dataclass(frozen=True)
class Dated:
    """`on` is the first day that it can have been, by `precision`; None there: the day itself."""

    on: date
    precision: str | None = None


def in_order(course: Sequence[Dated], until: date, contacts: Iterable[date] = ()) -> list[DatedFact]:
    """One shoulder's operations in their order, none after `until`: the as-of day, or a death before it.

    `contacts`: when something was last known of the person. One that lies after the first day that the last of the operations can have
    been is the latest that this one was done, since all that was said then was said of what had been done.
    """
    bounds: list[tuple[date, date]] = []
    for each in course:
        first = max(each.on, bounds[-1][0]) if bounds else each.on
        bounds.append((first, max(first, min(last_possible(each.on, each.precision), until))))
    if bounds:
        first, last = bounds[-1]
        heard = max((on for on in contacts if on > first), default=last)
        bounds[-1] = first, min(last, heard)
    for place in range(len(bounds) - 2, -1, -1):
        first, last = bounds[place]
        bounds[place] = first, max(first, min(last, bounds[place + 1][1]))
    found: list[DatedFact] = []
    for each, (first, last) in zip(course, bounds, strict=True):
        earliest = max(first, found[-1].on) if found else first
        found.append(DatedFact(max(earliest, min(last, middle_day(each.on, each.precision or "day"))), first, last))
    return found


def death(died: Dated, until: date, alive_on: date, last_operation: DatedFact) -> DatedFact:
    """Not before the day on which the person was last known alive, and not before the last operation, where that one stands."""
    first = max(died.on, alive_on, last_operation.first)
    last = max(first, min(last_possible(died.on, died.precision), until))
    middle = max(first, min(last, middle_day(died.on, died.precision or "day")))
    return DatedFact(max(middle, last_operation.on), first, last)
