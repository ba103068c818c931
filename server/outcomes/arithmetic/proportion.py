"""A proportion with limits that hold for small numbers too."""

from math import sqrt
from statistics import NormalDist
from typing import Any, NamedTuple


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
    z = NormalDist().inv_cdf((1 + level) / 2)
    share, square = k / n, z * z
    middle = (share + square / (2 * n)) / (1 + square / n)
    half = z * sqrt(share * (1 - share) / n + square / (4 * n * n)) / (1 + square / n)
    # At the ends the limit is the estimate itself, whatever the last bit of a root says.
    return Interval(share, 0.0 if k == 0 else middle - half, 1.0 if k == n else middle + half)


def proportion_document(k: int, n: int, level: float = 0.95) -> dict[str, Any]:
    """`yearmark stats proportion`: `{"k", "n", "estimate", "lower", "upper", "method"}`."""
    found = wilson(k, n, level)
    method = f"Wilson score interval without continuity correction, level {level}"
    return {"k": k, "n": n, **found._asdict(), "method": method}
