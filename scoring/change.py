"""Change within one person, and what a published threshold says of it. Never for a difference of groups.

A gain is positive when it is for the better, whichever way the scale runs. Values are compared to nine decimals, so that
the last bit of a division decides nothing.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import sqrt

from scoring.definition import Scale, Threshold
from scoring.printed_decimals import is_exceeded, is_reached
from scoring.steps import Number, fraction_of

IMPROVED, UNCHANGED, WITHIN_ERROR = "improved", "unchanged", "within measurement error"
BEYOND_ERROR = "beyond measurement error"
IN_POINTS = ""  # a loss has no word of its own: thresholds were found in people who got better
RELIABLE = 1.96  # Jacobson and Truax, J Consult Clin Psychol 1991;59:12-19
_DECIMALS = 9


def best_of(scale: Scale) -> Number:
    return scale.range[1] if scale.better == "higher" else scale.range[0]


def worst_of(scale: Scale) -> Number:
    return scale.range[0] if scale.better == "higher" else scale.range[1]


def gain(scale: Scale, before: Number, after: Number) -> Number:
    """By how much `after` is better than `before`; negative when it is worse."""
    change = after - before if scale.better == "higher" else before - after
    return change if isinstance(change, int) else round(change, _DECIMALS)


def percent_of_possible(scale: Scale, before: Number, after: Number) -> float | None:
    """The gain as a percentage of what could be gained; None at the best value, where nothing could."""
    room = gain(scale, before, best_of(scale))
    return gain(scale, before, after) / room * 100 if room else None


@dataclass(frozen=True)
class Reliability:
    """`sd`: standard deviation before treatment; `coefficient`: of test and retest, from 0 to below 1."""

    sd: float
    coefficient: float

    def __post_init__(self) -> None:
        if not self.sd > 0 or not 0 <= self.coefficient < 1:
            raise ValueError("needs a standard deviation above 0 and a reliability from 0 to below 1")

    @property
    def standard_error(self) -> float:
        """Of one measurement."""
        return self.sd * sqrt(1 - self.coefficient)

    @property
    def standard_error_of_change(self) -> float:
        return sqrt(2) * self.standard_error

    def index(self, change: Number) -> float:
        """The reliable change index of Jacobson and Truax, with the sign of the change."""
        return change / self.standard_error_of_change

    def is_reliable(self, change: Number) -> bool:
        return abs(self.index(change)) > RELIABLE


@dataclass(frozen=True)
class Comparison:
    """`no_room`: before, the scale left too little to gain what would be called improved; counted apart."""

    gain: Number
    word: str
    no_room: bool


def compare(
    scale: Scale, before: Number, after: Number, *, matters: Threshold, detectable: Threshold | None = None
) -> Comparison:
    """One person's change by a threshold of change (`mcid` or `scb`), and measurement error where one is stated.

    What matters must be reached, measurement error must be exceeded; a change that does not exceed it is within it, also where
    the other threshold is smaller still. Both at the decimals in which they were printed. A loss is told in points and held to
    measurement error alone.
    """
    _fits(scale, matters, "mcid", "scb")
    if detectable is not None:
        _fits(scale, detectable, "detectable_change")
    by = gain(scale, before, after)
    most = fraction_of(gain(scale, before, best_of(scale)))
    no_room = _word(most, matters, detectable) != IMPROVED
    return Comparison(by, _word(fraction_of(by), matters, detectable), no_room)


def _word(by: Fraction, matters: Threshold, detectable: Threshold | None) -> str:
    if detectable is not None and is_within_error(detectable, by):
        return WITHIN_ERROR
    if by < 0:
        return BEYOND_ERROR if detectable is not None else IN_POINTS
    return IMPROVED if is_reached(matters, by) else UNCHANGED


def is_within_error(detectable: Threshold, by: Fraction) -> bool:
    """Whether a gain or loss of this size may be nothing but measurement error."""
    return not is_exceeded(detectable, abs(by))


def _fits(scale: Scale, threshold: Threshold, *kinds: str) -> None:
    if threshold.kind not in kinds or threshold.scale != scale.scale:
        raise ValueError(
            f"a threshold of kind {threshold.kind} on {threshold.scale} says nothing of it on {scale.scale}"
        )


@dataclass(frozen=True)
class ComparisonCounts:
    """Of everybody compared: the words among those who could improve, and those who could not, apart. `worse`: a loss that is not
    within measurement error, where that is known.
    """

    compared: int
    improved: int
    unchanged: int
    worse: int
    within_error: int
    no_room: int
    no_room_worse: int


def count_comparisons(comparisons: Iterable[Comparison]) -> ComparisonCounts:
    words: Counter[str] = Counter()
    apart: Counter[str] = Counter()
    for each in comparisons:
        (apart if each.no_room else words)[each.word] += 1
    return ComparisonCounts(
        compared=words.total() + apart.total(),
        improved=words[IMPROVED],
        unchanged=words[UNCHANGED],
        worse=words[BEYOND_ERROR] + words[IN_POINTS],
        within_error=words[WITHIN_ERROR],
        no_room=apart.total(),
        no_room_worse=apart[BEYOND_ERROR] + apart[IN_POINTS],
    )


@dataclass(frozen=True)
class Point:
    """One score in the order of time. `code` names the timepoint; `value` is None where there was no score."""

    code: str
    value: Number | None
    is_baseline: bool = False


@dataclass(frozen=True)
class Change:
    """Gains at one point: against the baseline and against the last score before it, each None without one."""

    code: str
    since_baseline: Number | None
    percent_of_possible: float | None
    since_previous: Number | None
    previous: str | None


def changes_over_time(scale: Scale, points: Sequence[Point]) -> tuple[Change, ...]:
    """One for each point after the baseline that has a score; the last baseline with a score counts."""
    baseline = next((each for each in reversed(points) if each.is_baseline and each.value is not None), None)
    changes: list[Change] = []
    previous: Point | None = None
    for point in points:
        if point.value is None:
            continue
        if not point.is_baseline:
            changes.append(_change(scale, point.code, point.value, baseline, previous))
        previous = point
    return tuple(changes)


def _change(scale: Scale, code: str, value: Number, baseline: Point | None, previous: Point | None) -> Change:
    before = None if baseline is None else baseline.value
    last = None if previous is None else previous.value
    return Change(
        code=code,
        since_baseline=None if before is None else gain(scale, before, value),
        percent_of_possible=None if before is None else percent_of_possible(scale, before, value),
        since_previous=None if last is None else gain(scale, last, value),
        previous=None if previous is None else previous.code,
    )


@dataclass(frozen=True)
class EndCounts:
    """How many scores stand at an end of the scale, where it can tell no further difference."""

    scores: int
    at_best: int
    at_worst: int


def count_ends(scale: Scale, values: Iterable[Number | None]) -> EndCounts:
    """Ceiling and floor, by what is better; values that are not there do not count."""
    given = [value for value in values if value is not None]
    return EndCounts(len(given), given.count(best_of(scale)), given.count(worst_of(scale)))
