"""Which of two a person prefers who has both: the exact binomial among those with a preference."""

from math import comb, exp, log, log1p
from typing import Any, NamedTuple

from server.outcomes.arithmetic.root import reached

BEYOND = 0.025  # beyond each of two limits at 95 percent
MOST = 10_000  # binomial coefficients are whole numbers without rounding, and slow for more people
METHOD = (
    "estimate: share preferring A among those with a preference, ties not counted; limits 95% of Clopper and Pearson; p exact and "
    "two-sided against one half: the sum of the probabilities not larger than that of what was observed (below 1e-300 it may be 0)"
)


class Share(NamedTuple):
    estimate: float
    lower: float
    upper: float


def at_least(k: int, n: int, share: float) -> float:
    """The probability of `k` or more of `n`, for a share of at most k / n, so that the terms fall from the first one on."""
    term = exp(log(comb(n, k)) + k * log(share) + (n - k) * log1p(-share))
    total = term
    for i in range(k, n):
        term *= (n - i) / (i + 1) * share / (1 - share)
        total += term
    return total


def clopper_pearson(k: int, n: int) -> Share:
    """`k` of `n` with the limits at which as much or more, or as little or less, has a probability of 2.5 percent.

    Clopper and Pearson, Biometrika 1934;26:404-413. They cover in 95 percent or more whatever the share. Needs 0 <= k <= n, n >= 1.
    """
    return Share(k / n, _lower(k, n), 1 - _lower(n - k, n))


def _lower(k: int, n: int) -> float:
    return reached(lambda share: at_least(k, n, share), BEYOND, 0.0, k / n)


def exact_p(a: int, b: int) -> float:
    """Two-sided, against one half. There the probabilities fall evenly to both sides, so that those not larger than the observed one
    are the two tails; a tolerance for probabilities that are equal but for rounding is not needed."""
    return min(1.0, 2 * at_least(max(a, b), a + b, 0.5))


def preference_document(a: int, b: int, ties: int | None = None) -> dict[str, Any]:
    """`yearmark stats preference`: A and B are people, `ties` those without a preference, None where that was not said.

    Raises ValueError where nobody has a preference, or too many have one.
    """
    if a + b < 1:
        raise ValueError("nobody has a preference: A and B are both 0, and there is nothing to test")
    if a + b > MOST:
        raise ValueError(f"A and B are {a + b} people together; the exact test is made for at most {MOST}")
    found = clopper_pearson(a, a + b)
    return {
        **found._asdict(),
        "p": exact_p(a, b),
        "a": a,
        "b": b,
        "with_preference": a + b,
        "ties": ties,
        "method": METHOD,
    }
