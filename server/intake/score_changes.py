"""A score as it is stored beside the score as it comes out now: whether they are the same, what kind of change it is, and why."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache
from typing import NamedTuple

from server.intake.scores import Stated

# A change is counted once, under the first of these that applies.
KINDS = ("status", "value", "method", "details", "new_scale", "scale_gone")


class Why(StrEnum):
    """Why a response is left alone, with its scores as they were."""

    ERASED = "erased"
    KEY_MISSING = "key_missing"
    NOT_OPENED = "not_opened"  # under this patient's key
    UNKNOWN_VERSION = "unknown_version"  # of an instrument: this program does not hold it
    NOT_FITTING = "not_fitting"  # answers that the definition does not accept


class Where(NamedTuple):
    """A response as people name it."""

    response_id: int
    study_number: str
    side: str
    timepoint: str
    attempt: int


class LeftAlone(NamedTuple):
    where: Where
    why: Why


class Group(NamedTuple):
    """Changes of one kind and reason, of one scale."""

    instrument: str
    scale: str
    kind: str
    why: str


class Change(NamedTuple):
    """One scale of one response; `before` is None for a new scale, `after` for one that is gone. `row_id` is the score row of `before`."""

    where: Where
    row_id: int | None
    before: Stated | None
    after: Stated | None

    @property
    def group(self) -> Group:
        """Its scale, kind and, in words, why: from what both rows say of themselves."""
        before, after = self.before, self.after
        if after is None:
            assert before is not None
            why = "these answers have no such scale by the definition they name"
            return Group(before.instrument, before.scale, "scale_gone", why)
        if before is None:
            why = f"the scale had no score; scoring version {after.scoring_version}"
            return Group(after.instrument, after.scale, "new_scale", why)
        other_method = before.method != after.method
        why = _why(
            (before.scoring_version, after.scoring_version),
            (before.instrument_version, after.instrument_version),
            before.text_id != after.text_id,
            other_method,
        )
        kind = (
            "status" if before.status != after.status else
            "value" if before.value != after.value else
            "method" if other_method else
            "details"
        )  # fmt: skip
        return Group(after.instrument, after.scale, kind, why)


@lru_cache(maxsize=256)
def _why(scoring: tuple[str, str], instrument: tuple[str, str], other_text: bool, other_method: bool) -> str:
    said = []
    if scoring[0] != scoring[1]:
        said.append("scoring version {} → {}".format(*scoring))
    if instrument[0] != instrument[1]:
        said.append("the old row named instrument version {}, the answers name {}".format(*instrument))
    elif said:
        said.append("instrument version the same")
    if other_text:
        said.append("the old row named another text than the answers")
    if other_method:
        said.append("method words changed")
    return "; ".join(said) or "scoring and instrument version the same: the old row does not follow from the answers"


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
class Summary:
    """What a run found. `unchanged` counts scores by the scoring version that computed them, `left_alone` responses by reason."""

    responses: int = 0
    unchanged: Counter[str] = field(default_factory=Counter)
    left_alone: Counter[Why] = field(default_factory=Counter)
    groups: dict[Group, Difference] = field(default_factory=dict)

    def take(
        self, responses: int, unchanged: Mapping[str, int], changes: Iterable[Change], left_alone: Iterable[LeftAlone]
    ) -> None:
        self.responses += responses
        self.unchanged.update(unchanged)
        self.left_alone.update(each.why for each in left_alone)
        for change in changes:
            group = change.group
            found = self.groups.get(group)
            if found is None:
                found = self.groups[group] = Difference()
            found.add(change)

    @property
    def changed(self) -> Counter[str]:
        """How many changes of each kind."""
        kinds: Counter[str] = Counter()
        for group, found in self.groups.items():
            kinds[group.kind] += found.count
        return kinds

    def counts(self) -> dict[str, int]:
        """For the audit trail: plain numbers by plain names."""
        found = {"responses": self.responses, "unchanged": self.unchanged.total()}
        changed = self.changed
        found |= {kind: changed[kind] for kind in KINDS if changed[kind]}
        return found | {f"left_alone_{why}": self.left_alone[why] for why in Why if self.left_alone[why]}
