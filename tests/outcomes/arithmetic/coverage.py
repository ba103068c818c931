"""How often Wilson's limits hold a share, computed exactly."""

from math import comb

from server.outcomes.arithmetic.proportion import wilson


def wilson_coverage(n: int, share: float) -> float:
    """The probability of the counts of `n` people whose limits hold the share."""
    found = 0.0
    for k in range(n + 1):
        limits = wilson(k, n)
        if limits.lower <= share <= limits.upper:
            found += comb(n, k) * share**k * (1 - share) ** (n - k)
    return found


def lowest_coverage(n: int) -> float:
    """Over all shares: it falls where the limits of a count end."""
    ends = {end for k in range(n + 1) for end in wilson(k, n)[1:]} - {0.0, 1.0}
    return min(wilson_coverage(n, end + beside) for end in ends for beside in (-1e-9, 1e-9))
