"""The order in which the operations of one shoulder were done, where a day is known only to its month or year."""

from collections.abc import Collection
from datetime import date
from typing import Protocol, TypeVar

from server.fields.operation_words import AGAIN, KINDS
from server.schedule.dates import last_possible


class Dated(Protocol):
    """An operation, or a row of one."""

    @property
    def kind(self) -> str: ...
    @property
    def position(self) -> int: ...
    @property
    def surgery_on(self) -> date | None: ...
    @property
    def surgery_precision(self) -> str | None: ...


Op = TypeVar("Op", bound=Dated)


def course_day(operation: Dated, of_shoulder: Collection[Dated]) -> date | None:
    """The day at which an operation stands among those of its shoulder: the first that it can have been.

    What is done again came after what its kind needs before it. Where the first day lies before that, it stands at the last day that it
    can have been: a revision of 2025 to an operation of March 2025 was not done in January.
    """
    on, kind = operation.surgery_on, KINDS[operation.kind]
    if on is None or kind.order < AGAIN:
        return on
    needed = [each.surgery_on for each in of_shoulder if KINDS[each.kind].order < kind.order]
    came_before = any(day is not None and on < day for day in needed)
    return last_possible(on, operation.surgery_precision) if came_before else on


def in_course(of_shoulder: Collection[Op]) -> list[tuple[date, Op]]:
    """Those that were done, with their days, in order; of two on one day by kind, then as they were entered."""
    days = [(course_day(each, of_shoulder), each) for each in of_shoulder]
    done = [(day, each) for day, each in days if day is not None]
    return sorted(done, key=lambda found: (found[0], KINDS[found[1].kind].order, found[1].position))
