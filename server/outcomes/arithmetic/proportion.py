"""A proportion with limits that hold for small numbers too."""

from collections.abc import Mapping
from math import sqrt
from statistics import NormalDist
from typing import Any, NamedTuple

Z_95 = NormalDist().inv_cdf(0.975)  # so many standard errors lie to both sides of the middle at 95 percent


class Interval(NamedTuple):
    estimate: float
    lower: float
    upper: float


def wilson(k: int, n: int, level: float = 0.95) -> Interval:
    """`k` of `n` with Wilson's score limits, without correction for continuity (Newcombe, Stat Med 1998;17:857-872).

    Raises ValueError unless 0 <= k <= n, n >= 1 and 0 < level < 1.
    """
    if not 0 <= k <= n or n < 1:
        raise ValueError("needs 0 <= K <= N and N of at least 1")
    if not 0 < level < 1 or (1 + level) / 2 == 1:
        raise ValueError("the level lies between 0 and 1, such as 0.95")
    return score_limits(k / n, n, NormalDist().inv_cdf((1 + level) / 2))


def score_limits(share: float, n: float, times: float = Z_95) -> Interval:
    """Wilson's limits of a share that is as sure as one of `n` independent people, of whom there need not be a whole number.

    They lie where the share is `times` standard errors away.
    """
    square = times * times
    middle = (share + square / (2 * n)) / (1 + square / n)
    half = times * sqrt(share * (1 - share) / n + square / (4 * n * n)) / (1 + square / n)
    # At the ends the limit is the estimate itself, whatever the last bit of a root says.
    return Interval(share, 0.0 if share == 0 else middle - half, 1.0 if share == 1 else middle + half)


def wilson_by_person(persons: Mapping[tuple[int, int], int]) -> Interval:
    """Wilson's limits on the effective n, where a person may count more than once; the very same as `wilson` where nobody does.

    `persons`: how many persons there are with so many yes of so many. The effective n is that of independent people with whom the
    share would vary as much, and never more than there are; where all say the same, it is the number of persons.
    """
    k, n = (sum(each[place] * people for each, people in persons.items()) for place in (0, 1))
    share = k / n
    squares = sum(people * (yes - share * of) ** 2 for (yes, of), people in persons.items())
    effective = share * (1 - share) * n * n / squares if squares else sum(persons.values())
    return score_limits(share, min(n, effective))


def proportion_document(k: int, n: int, level: float = 0.95) -> dict[str, Any]:
    """`yearmark stats proportion`: `{"k", "n", "estimate", "lower", "upper", "method"}`."""
    found = wilson(k, n, level)
    method = f"Wilson score interval without continuity correction, level {level}"
    return {"k": k, "n": n, **found._asdict(), "method": method}
