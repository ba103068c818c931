"""The years of one shoulder after its first operation, as every figure of a series reads them. Plain values, nobody's name.

Only of shoulders whose patient's consent to research stands; all others are rows alone (server.outcomes.series.row).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import NamedTuple

from server.fields.operation_words import CONVERSIONS, REVISIONS
from server.outcomes.series.row import Record, Row
from server.schedule.status import Status


@dataclass(frozen=True)
class DatedFact:
    """`on`: where it stands in every figure. `first` and `last`: the days between which it lies where the day is not known."""

    on: date
    first: date
    last: date


# The answers and planned timepoints of many years are tuples with names, which are made three times as fast.
class Answer(NamedTuple):
    """What the patient answered, alone or with help. Scores by instrument, version and scale: `sst@1/total`; none where not scored.

    `texts`: whose words it was asked in, `licensed` or `descriptive`.
    """

    on: date
    mode: str
    scores: Mapping[str, float]
    texts: frozenset[str] = frozenset()


class Point(NamedTuple):
    """A planned timepoint. `answer`: the patient's own; `by_other`: somebody else answered, who tells events and never a score.

    What was recalled after surgery of the time before is a point `recalled` of its own, and the `baseline` has no answer.
    `lot_cast_on`: when its lot for the random quarter of the silent was cast; `drawn_on` and `probability`: it was drawn.
    """

    code: str
    opens_on: date
    due_on: date
    closes_on: date | None
    status: Status
    answer: Answer | None = None
    by_other: bool = False
    erased: bool = False
    lot_cast_on: date | None = None
    drawn_on: date | None = None
    probability: float | None = None


@dataclass(frozen=True)
class Later:
    """A later operation on the same shoulder, done anywhere. `exchanges`: components came in or went out."""

    day: DatedFact
    kind: str
    procedure: str | None
    implant_type: str | None
    reason: str | None
    certainty: str | None
    stage: str | None
    exchanges: bool

    @property
    def ends_the_first(self) -> bool:
        """Whether the joint as the first operation left it is no more: a revision, or the first implant of a joint that had none."""
        return self.exchanges or self.kind in (*REVISIONS, *CONVERSIONS)


@dataclass(frozen=True, eq=False)
class Followed:
    """`watched_from`: since when later operations would have become known, never before surgery.

    `later`: in their order. `alive_on`, `implant_on`: when life and the state of the implant were last known. `operated_unrecorded`: a
    source says that it was operated again, and no such operation is recorded; `operated_said_on`: when one first did. Nothing lies after
    the as-of date of the record.
    """

    row: Row
    surgery: DatedFact
    watched_from: date
    points: Mapping[str, Point]
    later: tuple[Later, ...] = ()
    died: DatedFact | None = None
    death_certain: bool = True
    alive_on: date | None = None
    implant_on: date | None = None
    operated_unrecorded: bool = False
    operated_said_on: date | None = None

    @cached_property
    def revised(self) -> DatedFact | None:
        """When the joint was first revised or converted."""
        return next((each.day for each in self.later if each.ends_the_first), None)


@dataclass(frozen=True)
class Followings:
    """Every followed shoulder by its first operation's id.

    `digest`: SHA-256 of all that they and the record were read from, the same for the same data.
    """

    record: Record
    of: Mapping[int, Followed]
    digest: str
