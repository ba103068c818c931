"""Which of several published thresholds is used, by one rule that is said wherever one is."""

import re

from scoring.change import best_of
from scoring.definition import Definition, Threshold

# What `choose_threshold` does, for people.
RULE = (
    "Of several published thresholds of one kind, the one from a follow-up of at least a year comes first, then one whose "
    "people had a hemiarthroplasty among them, then the largest number of people; of two alike, the one harder to reach."
)
YEAR_DAYS = 365
_LENGTH = re.compile(r"(\d+) (day|week|month|year)s?\b")
_DAYS = {"day": 1.0, "week": 7.0, "month": 365.25 / 12, "year": 365.25}


def choose_threshold(definition: Definition, scale: str, kind: str) -> Threshold | None:
    """By RULE, among those of this scale and kind; None when none was read."""
    found = [each for each in definition.thresholds if each.scale == scale and each.kind == kind]
    rising = kind != "pass" or best_of(definition.by_scale[scale]) == definition.by_scale[scale].range[1]
    return max(found, key=lambda each: _rank(each, rising), default=None)


def shortest_follow_up(threshold: Threshold) -> float | None:
    """In days, as far as it is stated: the first length named. "2 years or more, mean 3.5 years" is two years."""
    found = _LENGTH.search(threshold.follow_up)
    return int(found[1]) * _DAYS[found[2]] if found else None


def threshold_anchor(definition: Definition, threshold: Threshold) -> str:
    """The name of its row on a page of all of them: its place, which never changes in a published version."""
    return f"threshold-{definition.thresholds.index(threshold) + 1}"


def _rank(threshold: Threshold, rising: bool) -> tuple[float, ...]:
    followed = shortest_follow_up(threshold) or 0
    return (
        followed >= YEAR_DAYS,
        threshold.holds_hemiarthroplasty is True,
        threshold.n or 0,
        threshold.value if rising else -threshold.value,
    )
