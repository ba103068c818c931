"""Change of a group from pairs of scores: means, spread, effect sizes, reliable change.

A change is after minus before whichever way the scale runs; `better` says which changes are for the better.
"""

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from math import sqrt
from statistics import mean, median
from typing import Any, NamedTuple

from server.outcomes.arithmetic.student import noncentrality_limits, t_quantile
from server.outcomes.arithmetic.table import TableProblem, decimal, read_table

RELIABLE = 1.96  # Jacobson and Truax, J Consult Clin Psychol 1991;59:12-19
METHOD = "change = after - before; sd with n - 1; effect_size = mean change / sd before; srm = mean change / sd of the change"
LIMITS_METHOD = (
    "limits 95%, as if changes were normal: mean change by Student's t with n - 1; srm exact by the noncentral t "
    "(Steiger and Fouladi 1997), null beyond 100; effect_size approximate by the same noncentrality x sd of the change / "
    "(sd before x sqrt(n)) (Algina and Keselman 2003, here with the sd before)"
)
RELIABLE_METHOD = "reliable: |change| > 1.96 x sd before x sqrt(2) x sqrt(1 - reliability) (Jacobson and Truax 1991)"
HIGHER, LOWER = "higher", "lower"
LARGEST_SRM = 100  # no scores of people come near it; beyond it the noncentral t takes long
Pair = tuple[float, float]
Counted = tuple[Fraction, int]  # a value, and how many people have it
# Numbers that files from elsewhere put where a value is missing. A score can be one of them, so one is only refused, and named as
# such, where the range of the scale does not hold it.
MISSING_CODES = frozenset(
    {-1, -7, -8, -9, -66, -77, -88, -98, -99, -777, -888, -999, -9999, 9, 99, 777, 888, 999, 9999}
)


class PairsProblem(ValueError):
    """Pairs or options that cannot be used; the message says which and why."""


class PairedChange(NamedTuple):
    """Standard deviations divide by n - 1 and need two pairs; what cannot be formed is None.

    `effect_size`: mean change / standard deviation before. `srm`: mean change / standard deviation of the change.
    """

    n: int
    mean_before: float
    sd_before: float | None
    mean_after: float
    sd_after: float | None
    mean_change: float
    sd_change: float | None
    effect_size: float | None
    srm: float | None


class ChangeLimits(NamedTuple):
    """At 95 percent; None where changes do not differ, or scores before for the effect size."""

    mean_change_lower: float | None = None
    mean_change_upper: float | None = None
    effect_size_lower: float | None = None
    effect_size_upper: float | None = None
    srm_lower: float | None = None
    srm_upper: float | None = None


class ReliableCounts(NamedTuple):
    """By the reliable change index: change / (sqrt(2) x sd before x sqrt(1 - reliability)), beyond 1.96."""

    improved: int
    worse: int
    smallest_change: float


class PossibleImprovement(NamedTuple):
    """The percentage of what each could gain. Undefined for those who stood at the best score before, so that a loss of theirs is
    in neither mean nor median: `undefined_worse` counts it."""

    mean_percent: float | None
    median_percent: float | None
    undefined: int
    undefined_worse: int


def as_written(value: float) -> Fraction:
    """The decimal that stands for the number: sums of scores are then exact, and equal changes do not differ."""
    return Fraction(repr(value))


def standard_deviation(values: Sequence[Fraction]) -> float | None:
    """With n - 1; None for fewer than two values."""
    return _spread([(value, 1) for value in values])


def paired_change(pairs: Sequence[Pair]) -> PairedChange:
    """From (before, after) of each person. Raises PairsProblem without a pair."""
    if not pairs:
        raise PairsProblem("there is no pair with both scores")
    exact = {value: as_written(value) for value in {value for pair in pairs for value in pair}}
    # Scores take few values, and exact sums over thousands of people take long: each value is taken once, with how many have it.
    before, after = (
        [(exact[value], people) for value, people in Counter(pair[place] for pair in pairs).items()] for place in (0, 1)
    )
    changes = [(exact[second] - exact[first], people) for (first, second), people in Counter(pairs).items()]
    sd_before, sd_change, by = _spread(before), _spread(changes), _mean(changes)
    return PairedChange(
        n=len(pairs),
        mean_before=_mean(before),
        sd_before=sd_before,
        mean_after=_mean(after),
        sd_after=_spread(after),
        mean_change=by,
        sd_change=sd_change,
        effect_size=by / sd_before if sd_before else None,
        srm=by / sd_change if sd_change else None,
    )


def change_limits(change: PairedChange) -> ChangeLimits:
    """By Student's t for the mean, by the noncentral t for the two sizes: what each supposes is said in LIMITS_METHOD.

    Where everybody changed by the same there is no spread to form limits from, and limits of no width would claim certainty.
    """
    if not change.sd_change:
        return ChangeLimits()
    root, df, srm = sqrt(change.n), change.n - 1, change.mean_change / change.sd_change
    half = t_quantile(0.975, df) * change.sd_change / root
    found = ChangeLimits(change.mean_change - half, change.mean_change + half)
    if abs(srm) > LARGEST_SRM:
        return found
    lower, upper = (limit / root for limit in noncentrality_limits(srm * root, df))
    found = found._replace(srm_lower=lower, srm_upper=upper)
    if not change.sd_before:
        return found
    scale = change.sd_change / change.sd_before
    return found._replace(effect_size_lower=lower * scale, effect_size_upper=upper * scale)


def _mean(counted: Sequence[Counted]) -> float:
    return float(sum(value * people for value, people in counted) / sum(people for _value, people in counted))


def _spread(counted: Sequence[Counted]) -> float | None:
    n = sum(people for _value, people in counted)
    if n < 2:
        return None
    total = sum(value * people for value, people in counted)
    return sqrt((sum(value * value * people for value, people in counted) - total * total / n) / (n - 1))


def reliable_counts(pairs: Sequence[Pair], reliability: float, better: str = HIGHER) -> ReliableCounts | None:
    """None where the scores before do not differ. Raises PairsProblem unless 0 <= reliability < 1."""
    if not 0 <= reliability < 1:
        raise PairsProblem("a reliability lies from 0 to below 1")
    sd = standard_deviation([as_written(before) for before, _ in pairs])
    if not sd:
        return None
    of_change = sqrt(2) * sd * sqrt(1 - reliability)
    indices = [float(as_written(after) - as_written(before)) / of_change for before, after in pairs]
    up, down = (sum(sign * index > RELIABLE for index in indices) for sign in (1, -1))
    improved, worse = (up, down) if better == HIGHER else (down, up)
    return ReliableCounts(improved, worse, RELIABLE * of_change)


def possible_improvement(pairs: Sequence[Pair], best: float, better: str = HIGHER) -> PossibleImprovement:
    """Raises PairsProblem for a score better than the best."""
    if any(value > best if better == HIGHER else value < best for pair in pairs for value in pair):
        where = "above the maximum" if better == HIGHER else "below the minimum"
        raise PairsProblem(f"a score lies {where} {best:g}")
    limit = as_written(best)
    known = [(as_written(before), as_written(after)) for before, after in pairs]
    percents = [(after - before) / (limit - before) * 100 for before, after in known if before != limit]
    return PossibleImprovement(
        mean_percent=float(mean(percents)) if percents else None,
        median_percent=float(median(percents)) if percents else None,
        undefined=len(pairs) - len(percents),
        undefined_worse=sum(before == limit != after for before, after in known),
    )


class Range(NamedTuple):
    """The ends of a scale; None where an end was not said."""

    low: float | None = None
    high: float | None = None

    def problem(self, value: float) -> str | None:
        """Why a score cannot be that: it lies outside, and may be a code for a missing value."""
        below = self.low is not None and value < self.low
        if not below and (self.high is None or value <= self.high):
            return None
        where = f"below the minimum {self.low:g}" if below else f"above the maximum {self.high:g}"
        if value in MISSING_CODES:
            return f"{where}, and a common code for a missing value; leave the cell empty where a score is missing"
        return where


ANY = Range()


def read_pairs(csv_text: str, within: Range = ANY) -> tuple[list[Pair], int]:
    """The pairs of a CSV with the columns `before` and `after`, and how many rows lack one of the two.

    Raises PairsProblem with the number of the line for what is no number, has no column or lies outside the range.
    """
    try:
        rows = read_table(csv_text, ("before", "after")).rows
    except TableProblem as problem:
        raise PairsProblem(str(problem)) from problem
    pairs, incomplete = [], 0
    for line, cells in rows:
        first, second = (_number(cells[name], name, line, within) for name in ("before", "after"))
        if first is None or second is None:
            incomplete += 1
        else:
            pairs.append((first, second))
    return pairs, incomplete


def _number(text: str, name: str, line: int, within: Range) -> float | None:
    """Blank is None."""
    if not text:
        return None
    value = decimal(text)
    if value is None:
        raise PairsProblem(f"line {line}: {name} is not a number that a score can have: {ascii(text)[:40]}")
    outside = within.problem(value)
    if outside:
        raise PairsProblem(f"line {line}: {name} is {value:g}, {outside}")
    return value


def change_document(
    csv_text: str, *, within: Range = ANY, reliability: float | None = None, better: str = HIGHER
) -> dict[str, Any]:
    """`yearmark stats change`: what paired_change has, its limits and, where asked for, reliable change and possible improvement.

    The possible improvement needs the end of the range at which scores are best. A member that was not asked for, or cannot be
    formed, is None. Raises PairsProblem, also for a single pair.
    """
    if within.low is not None and within.high is not None and within.low >= within.high:
        raise PairsProblem(f"the minimum {within.low:g} is not below the maximum {within.high:g}")
    pairs, incomplete = read_pairs(csv_text, within)
    if len(pairs) == 1:
        raise PairsProblem("there is only one pair with both scores; how much scores differ needs two or more")
    change = paired_change(pairs)
    method = f"{METHOD}; {LIMITS_METHOD}"
    reliable = None if reliability is None else reliable_counts(pairs, reliability, better)
    best = within.high if better == HIGHER else within.low
    possible = None if best is None else possible_improvement(pairs, best, better)
    return {
        **change._asdict(),
        **change_limits(change)._asdict(),
        "reliable_improved": None if reliable is None else reliable.improved,
        "reliable_worse": None if reliable is None else reliable.worse,
        "reliable_change": None if reliable is None else reliable.smallest_change,
        "mean_percent_of_possible": None if possible is None else possible.mean_percent,
        "median_percent_of_possible": None if possible is None else possible.median_percent,
        "percent_undefined": None if possible is None else possible.undefined,
        "percent_undefined_worse": None if possible is None else possible.undefined_worse,
        "incomplete": incomplete,
        "better": better,
        "positive_change_is": "better" if better == HIGHER else "worse",  # mean change, effect size and response mean
        "method": method if reliable is None else f"{method}; {RELIABLE_METHOD}",
    }
