"""The order in which the operations of one shoulder were done, where a day is known only to its month or year."""

from collections.abc import Collection
from datetime import date, timedelta
from typing import Protocol, TypeVar

from server.fields.operation_words import AGAIN, KINDS
from server.schedule.dates import last_possible, middle_day


class Dated(Protocol):
    """An operation, or a row of one."""

    @property
    def id(self) -> int: ...
    @property
    def first_stage_id(self) -> int | None: ...
    @property
    def kind(self) -> str: ...
    @property
    def position(self) -> int: ...
    @property
    def surgery_on(self) -> date | None: ...
    @property
    def surgery_precision(self) -> str | None: ...


Op = TypeVar("Op", bound=Dated)


def course_day(operation: Dated, of_shoulder: Collection[Dated], until: date | None = None) -> date | None:
    """The day at which an operation stands among those of its shoulder: the first that it can have been.

    What is done again came after what its kind needs before it, and a second stage after its first. Where the first day lies before
    that, it stands at the 15th of its month or at 1 July: a revision of 2025 to an operation of March 2025 was not done in January. It is
    kept after what came before it, and neither after its own second stage nor after `until`: the as-of date, or a death.
    """
    on = operation.surgery_on
    if on is None or operation.surgery_precision in (None, "day"):
        return on
    earliest = max((day for each in of_shoulder if (day := _needed_on(each, operation)) is not None), default=on)
    if on >= earliest:
        return on
    seconds = [each for each in of_shoulder if each.first_stage_id is not None and each.first_stage_id == operation.id]
    ends = [last_possible(on, operation.surgery_precision), until, *(course_day(each, of_shoulder) for each in seconds)]
    latest = min(end for end in ends if end is not None)
    middle = middle_day(on, operation.surgery_precision)
    return max(earliest, min(latest, max(middle, earliest + timedelta(days=1))))


def _needed_on(other: Dated, operation: Dated) -> date | None:
    """The first day of the other one, where it has to be done before `operation` can be."""
    again = KINDS[operation.kind].order >= AGAIN
    its_first = operation.first_stage_id is not None and other.id == operation.first_stage_id
    return other.surgery_on if again and (its_first or KINDS[other.kind].order < AGAIN) else None


def in_course(of_shoulder: Collection[Op], until: date | None = None) -> list[tuple[date, Op]]:
    """Those that were done, with their days, in order; of two on one day by kind, then as they were entered."""
    days = [(course_day(each, of_shoulder, until), each) for each in of_shoulder]
    done = [(day, each) for day, each in days if day is not None]
    return sorted(done, key=lambda found: (found[0], KINDS[found[1].kind].order, found[1].position))
