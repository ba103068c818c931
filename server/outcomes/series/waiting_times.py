"""How long something takes of which only looks tell: an event of one of several causes between two looks. In weeks after surgery.

A revision or a death ends the wait on its day where it came before the next planned look had closed, since so far nobody had stopped
answering. Where a look had passed in silence, or none was left, nobody knows what became of the wait before that day: it was last heard
of at the last look.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from itertools import accumulate

from server.outcomes.arithmetic.interval_causes import NOT_YET, Cell, Event, self_consistent_by_cause
from server.outcomes.arithmetic.intervals import REACHED
from server.outcomes.series.followed import Followed

DAYS_OF_WEEK = 7
DAY_0 = 0.5 / DAYS_OF_WEEK  # what happens on the day of surgery stands at half a day
REVISED, DIED = "revised", "died"


@dataclass(frozen=True)
class Step:
    """The share rises from `before` to `after` somewhere in (left, right], or at the time itself where both are the same."""

    left: float
    right: float
    before: float
    after: float


@dataclass(frozen=True)
class WaitingTimes:
    """`cause`: the event that is waited for. Every other cause ends the wait without it; of NOT_YET nothing was heard later."""

    events: tuple[Event, ...]
    cause: str

    @cached_property
    def cells(self) -> Sequence[Cell]:
        return self_consistent_by_cause(self.events)

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        own = [cell for cell in self.cells if cell.cause == self.cause]
        reached = list(accumulate((cell.mass for cell in own), initial=0.0))
        return tuple(
            Step(cell.left, cell.right, before, after)
            for cell, before, after in zip(own, reached, reached[1:], strict=False)
        )

    def count(self, cause: str) -> int:
        return sum(event.cause == cause for event in self.events)

    def waiting(self, week: float) -> int:
        """How many had not had any event for certain, and were still heard of, just before that time."""
        return sum((event.left if event.cause == NOT_YET else event.right) >= week for event in self.events)

    def share_by(self, week: float) -> tuple[float, float]:
        """At least and at most this share has had the event by then: it is not known where in its interval a step rises."""
        least = max((step.after for step in self.steps if step.right <= week), default=0.0)
        return least, max((step.after for step in self.steps if step.left < week or step.right <= week), default=0.0)

    def quantile(self, share: float) -> tuple[float, float] | None:
        """The interval by whose end this share of all has had the event; None where that is not reached."""
        return next(((step.left, step.right) for step in self.steps if step.after > share - REACHED), None)


def ended_by(shoulder: Followed, heard_at: float) -> Event | None:
    """The revision or the death with which a wait ended, of which they last told in that week."""
    heard_on = shoulder.surgery.on + timedelta(days=round(heard_at * DAYS_OF_WEEK))
    looks = [
        point.closes_on
        for point in shoulder.points.values()
        if point.closes_on is not None and point.due_on > shoulder.surgery.on and point.closes_on > heard_on
        if point.answer is None or point.answer.on > heard_on
    ]
    facts = ((REVISED, shoulder.revised), (DIED, shoulder.died))
    ends = [(fact.on, cause) for cause, fact in facts if fact is not None and fact.on >= heard_on]
    # Of both on one day the revision was first.
    on, cause = min(ends, key=lambda end: end[0], default=(date.max, ""))
    if not looks or on > min(looks):
        return None
    at = max(weeks_between(shoulder.surgery.on, on), DAY_0)
    return Event(cause, at, at)


def weeks_between(first: date, last: date) -> float:
    return (last - first).days / DAYS_OF_WEEK
