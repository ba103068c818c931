"""A stored score beside the score as it is computed now: whether they differ, what kind of change it is, and why."""

from collections import Counter
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from server.intake.scores import ScoreRow

# A change is counted once, under the first of these that applies.
KINDS = ("status", "value", "method", "details", "new_scale", "scale_gone")


class LeftAloneReason(StrEnum):
    """Why a response keeps the scores it has."""

    ERASED = "erased"
    KEY_MISSING = "key_missing"
    NOT_OPENED = "not_opened"  # under this patient's key
    UNKNOWN_VERSION = "unknown_version"  # of an instrument: this program does not hold it
    NOT_FITTING = "not_fitting"  # answers that the definition does not accept


class ResponseLabel(NamedTuple):
    """A response as people name it."""

    response_id: int
    study_number: str
    side: str
    timepoint: str
    attempt: int


class LeftAlone(NamedTuple):
    response: ResponseLabel
    reason: LeftAloneReason


class ChangeGroup(NamedTuple):
    """Changes of one kind and reason, of one scale."""

    instrument: str
    scale: str
    kind: str
    why: str


class Change(NamedTuple):
    """One scale of one response; `before` is None for a new scale, `after` for one that is gone. `row_id` is the row of `before`."""

    response: ResponseLabel
    row_id: int | None
    before: ScoreRow | None
    after: ScoreRow | None

    @property
    def group(self) -> ChangeGroup:
        """Its scale, kind and, in words, why: from what both rows hold."""
        before, after = self.before, self.after
        if before is None:
            assert after is not None
            why = f"the scale had no score; scoring version {after.scoring_version}"
            return ChangeGroup(after.instrument, after.scale, "new_scale", why)
        if after is None:
            why = "these answers have no such scale by the definition they name"
            return ChangeGroup(before.instrument, before.scale, "scale_gone", why)
        return ChangeGroup(after.instrument, after.scale, _kind(before, after), _why(before, after))


def _kind(before: ScoreRow, after: ScoreRow) -> str:
    if before.status != after.status:
        return "status"
    if before.value != after.value:
        return "value"
    return "method" if before.method != after.method else "details"


def _why(before: ScoreRow, after: ScoreRow) -> str:
    reasons = []
    if before.scoring_version != after.scoring_version:
        reasons.append(f"scoring version {before.scoring_version} → {after.scoring_version}")
    if before.instrument_version != after.instrument_version:
        names = f"{before.instrument_version}, the answers name {after.instrument_version}"
        reasons.append(f"the old row named instrument version {names}")
    elif reasons:
        reasons.append("instrument version the same")
    if before.text_id != after.text_id:
        reasons.append("the old row named another text than the answers")
    if before.method != after.method:
        reasons.append("method words changed")
    return "; ".join(reasons) or "scoring and instrument version the same: the old row does not follow from the answers"


class PatientRange(NamedTuple):
    """The patients with a greater id than `after`, up to and with `last`."""

    after: int
    last: int


@dataclass
class Batch:
    """What was found of some patients. `unchanged` counts scores by the scoring version that computed them."""

    patients: PatientRange
    responses: int = 0
    unchanged: Counter[str] = field(default_factory=Counter)
    changes: list[Change] = field(default_factory=list)
    left_alone: list[LeftAlone] = field(default_factory=list)
    changed_patients: set[int] = field(default_factory=set)


@dataclass
class Difference:
    """How many changes, and over those with a value before and after the smallest and largest of new minus old."""

    count: int = 0
    least: float | None = None
    most: float | None = None

    def add(self, change: Change) -> None:
        self.count += 1
        before, after = change.before, change.after
        if before and after and before.value is not None and after.value is not None:
            by = after.value - before.value
            self.least = by if self.least is None or by < self.least else self.least
            self.most = by if self.most is None or by > self.most else self.most


@dataclass
class RescoreSummary:
    """Of a whole run. `unchanged` counts scores by the scoring version that computed them, `left_alone` responses by reason."""

    responses: int = 0
    unchanged: Counter[str] = field(default_factory=Counter)
    left_alone: Counter[LeftAloneReason] = field(default_factory=Counter)
    groups: dict[ChangeGroup, Difference] = field(default_factory=dict)

    def add(self, batch: Batch) -> None:
        self.responses += batch.responses
        self.unchanged.update(batch.unchanged)
        self.left_alone.update(each.reason for each in batch.left_alone)
        for change in batch.changes:
            self.groups.setdefault(change.group, Difference()).add(change)

    @property
    def changed(self) -> Counter[str]:
        """How many changes of each kind."""
        kinds: Counter[str] = Counter()
        for group, difference in self.groups.items():
            kinds[group.kind] += difference.count
        return kinds

    def counts(self) -> dict[str, int]:
        """For the audit trail: plain numbers by plain names."""
        changed = {kind: self.changed[kind] for kind in KINDS if self.changed[kind]}
        left_alone = {f"left_alone_{why}": self.left_alone[why] for why in LeftAloneReason if self.left_alone[why]}
        return {"responses": self.responses, "unchanged": self.unchanged.total(), **changed, **left_alone}
