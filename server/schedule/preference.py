"""Who is asked which of two operated shoulders is preferred, and in which form.

Rules:

1. It is asked once both shoulders were operated on and the last of all those operations is at least a year old on the day the form
   opens: before that the question compares a healed shoulder with one that is healing. Of a day known to its month or year the last
   possible one counts, and an operation after the form has opened does not.
2. It is a part of yearly forms only, of the shoulder that was operated on last; of two operated on the same day the right one. Of the
   follow-ups of that shoulder the one of its latest operation asks. So a person is asked once a year.
3. No plan of the program names it: it depends on the person, not on the operation that a plan follows.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from server.schedule.dates import anniversary, last_possible
from server.schedule.plan import Part
from server.schedule.timepoint_code import TimepointCode

PREFERENCE = Part("preference@1")
ITEM = "1"
PREFERS = {1: "right", 2: "left", 0: "no_difference"}  # by the codes of the item


@dataclass(frozen=True)
class Operated:
    """An operation that was done and stands, by its number. `followed`: a follow-up goes by it."""

    key: int
    side: str
    surgery_on: date
    precision: str | None = None
    followed: bool = True

    @property
    def by(self) -> date:
        return last_possible(self.surgery_on, self.precision)


def asks_preference(code: str, opens_on: date, operation: int, operations: Iterable[Operated]) -> bool:
    """Whether the form of this timepoint of `operation` asks it; `operations` are all of the person, of both shoulders."""
    done = [each for each in operations if each.surgery_on <= opens_on]
    if TimepointCode.parse(code).year is None or len({each.side for each in done}) < 2:
        return False
    if any(anniversary(each.by, 1) > opens_on for each in done):
        return False
    later = max(done, key=lambda each: (each.by, each.side)).side
    asking = max((each for each in done if each.side == later and each.followed), key=_place, default=None)
    return asking is not None and asking.key == operation


def with_preference(parts: tuple[Part, ...]) -> tuple[Part, ...]:
    """The parts of a form that asks it: last, or where a plan of the clinic's own names it."""
    return parts if any(part.instrument == PREFERENCE.instrument for part in parts) else (*parts, PREFERENCE)


def _place(operated: Operated) -> tuple[date, int]:
    return operated.by, operated.key
