"""Limits at 95 percent of a share or a mean from how much it varies."""

from math import inf, sqrt

from server.outcomes.arithmetic.proportion import Z_95, Interval, score_limits
from server.outcomes.arithmetic.student import t_quantile

NORMAL_FROM = 200  # degrees of freedom, from which on Student's t is the normal distribution to two digits
NOTHING = 1e-12  # what comes from rounding alone


def limits_of(estimate: float, variance: float, people: float, *, share: bool, df: float = inf) -> Interval:
    """A share: Wilson's on the number of independent people with whom it would vary as much; where it does not vary, as when all say yes,
    on `people`, an effective n. A mean: Student's t. `df`: degrees of freedom of the variance, where it is estimated from few.

    A mean that does not vary has limits of no width: nothing is known of how it would.
    """
    times = _quantile(df)
    if not share:
        half = times * sqrt(variance)
        return Interval(estimate, estimate - half, estimate + half)
    if estimate * (1 - estimate) < NOTHING or variance < NOTHING:
        return score_limits(float(round(estimate)), people, times)
    return score_limits(estimate, estimate * (1 - estimate) / variance, times)


def _quantile(df: float) -> float:
    return Z_95 if df >= NORMAL_FROM else t_quantile(0.975, max(1, int(df)))
