"""Student's t, central and noncentral, from its definition: a normal number over an estimated standard deviation."""

from itertools import count
from math import exp, expm1, sqrt
from statistics import NormalDist

from server.outcomes.arithmetic.root import reached

NORMAL = NormalDist()
SMALLEST_WEIGHT = 1e-18
FURTHEST = 9.0  # standard deviations beyond which the normal distribution adds nothing to a number

Spread = list[tuple[float, float]]


def spread(df: int, sharpest: float = 0.0) -> Spread:
    """How an estimated standard deviation lies about the true one: (estimated / true, probability), its square being chi-square / df.

    Equal steps of the logarithm: the sum over them comes within 1e-12 where a step is a sixth of the standard deviation (df of 1
    decides it) and a third of the width of what is averaged, which is 1 / `sharpest`.
    """
    step = 1 / max(6 * sqrt(2 * df), 3 * sharpest)
    found = []
    for start, sign in ((0, 1), (1, -1)):
        for i in count(start):
            at = sign * i * step
            weight = exp(df * (at - expm1(2 * at) / 2))
            if weight < SMALLEST_WEIGHT:
                break
            found.append((exp(at), weight))
    total = sum(weight for _, weight in found)
    return [(ratio, weight / total) for ratio, weight in found]


def t_quantile(probability: float, df: int) -> float:
    """Below it lies that probability, of 0.5 or more, of Student's t with `df` degrees of freedom."""
    ratios = spread(df)
    t = NORMAL.inv_cdf(probability)
    # Newton's steps from the normal quantile, which lies below: right of 0 the distribution bends down, so that no step goes too far
    # and one that goes no further is rounding.
    while True:
        below = sum(weight * NORMAL.cdf(t * ratio) for ratio, weight in ratios)
        slope = sum(weight * ratio * NORMAL.pdf(t * ratio) for ratio, weight in ratios)
        further = t + (probability - below) / slope
        if further <= t:
            return t
        t = further


def noncentrality_limits(t: float, df: int, beyond: float = 0.025) -> tuple[float, float]:
    """The noncentralities at which the observed `t`, or more, and `t`, or less, has the probability `beyond`.

    P(T <= t) is the chance that a normal number about the noncentrality stays below t x ratio; so the limits are quantiles of
    t x ratio + a standard normal number.
    """
    ratios = spread(df, abs(t))

    def below(noncentrality: float) -> float:
        return sum(weight * NORMAL.cdf(noncentrality - t * ratio) for ratio, weight in ratios)

    far = abs(t) * max(ratio for ratio, _ in ratios) + FURTHEST
    return reached(below, beyond, -far, far), reached(below, 1 - beyond, -far, far)
