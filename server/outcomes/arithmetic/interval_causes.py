"""The self-consistent estimator where an event has one of several causes, such as the return to work, a revision or a death.

Mass can lie in cells of an interval and a cause. An event of a known cause lies in cells of that cause alone; who had none yet may have
any of them later, so such a row holds the later cells of every cause (Hudgens, Satten and Longini, Biometrics 2001;57:74-80). With one
cause it is the estimator of intervals.py, and with exact times it is that of Aalen and Johansen.
"""

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import inf
from typing import NamedTuple

from server.outcomes.arithmetic.intervals import NO_MASS
from server.outcomes.arithmetic.self_consistency import Cover, settled

NOT_YET = ""
Place = tuple[float, int]  # a time, and whether it lies just before (0) or just after (1) it


class Event(NamedTuple):
    """`cause` happened in (left, right], or at the time itself where both are the same. NOT_YET: nothing had happened by `left`."""

    cause: str
    left: float
    right: float = inf


class Cell(NamedTuple):
    """The `mass` of events of this cause that lies in (left, right]; of NOT_YET that of which nothing is known after `left`."""

    cause: str
    left: float
    right: float
    mass: float


class _Line(NamedTuple):
    """The cells of one cause in order: where each begins and stops, and the number of the first of them among all cells."""

    begins: list[Place]
    stops: list[Place]
    first: int


def self_consistent_by_cause(events: Sequence[Event]) -> list[Cell]:
    """The cells that hold mass, cause by cause and in their order, and last what is not known yet. Raises NotSettled."""
    waiting = {_begin(event) for event in events if event.cause == NOT_YET}
    lines: dict[str, _Line] = {}
    size = 0
    for cause in dict.fromkeys(event.cause for event in events if event.cause != NOT_YET):
        lines[cause] = _line([event for event in events if event.cause == cause], waiting, size)
        size += len(lines[cause].begins)
    later = _later(waiting, lines)
    masses = settled(_covers(events, lines, size if later else None), size + bool(later)) if events else []
    cells = [
        Cell(cause, begin[0], stop[0], mass)
        for cause, line in lines.items()
        for begin, stop, mass in zip(line.begins, line.stops, masses[line.first :], strict=False)
    ]
    cells += [Cell(NOT_YET, later[0], inf, masses[-1])] if later else []
    return [cell for cell in cells if cell.mass > NO_MASS]


def _begin(event: Event) -> Place:
    return event.left, int(event.left != event.right)


def _stop(event: Event) -> Place:
    return event.right, 1


def _line(events: Sequence[Event], waiting: set[Place], first: int) -> _Line:
    """Only where a begin, be it of somebody who waits, is followed at once by a stop of this cause can mass lie."""
    begins = {(_begin(event), True) for event in events} | {(place, True) for place in waiting}
    stops = {(_stop(event), False) for event in events}
    inner = [(begin, stop) for (begin, one), (stop, other) in pairwise(sorted(begins | stops)) if one and not other]
    return _Line([begin for begin, _ in inner], [stop for _, stop in inner], first)


def _later(waiting: set[Place], lines: dict[str, _Line]) -> Place | None:
    """Where what is not known yet begins; None where a cell of a cause lies after everybody's last "not yet" and holds it."""
    if not waiting:
        return None
    last = max(waiting)
    return None if any(line.begins[-1] >= last for line in lines.values()) else last


def _covers(events: Sequence[Event], lines: dict[str, _Line], later: int | None) -> list[Cover]:
    held = Counter(tuple(_held(event, lines, later)) for event in events)
    return [Cover(ranges, rows) for ranges, rows in held.items()]


def _held(event: Event, lines: dict[str, _Line], later: int | None) -> Iterator[tuple[int, int]]:
    """The ranges of cells that one row holds."""
    for cause, line in lines.items():
        first = line.first + bisect_left(line.begins, _begin(event))
        if event.cause == NOT_YET:
            yield first, line.first + len(line.begins)
        elif event.cause == cause:
            yield first, line.first + bisect_right(line.stops, _stop(event))
    if event.cause == NOT_YET and later is not None:
        yield later, later + 1
