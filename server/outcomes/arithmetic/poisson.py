"""Observed against expected counts, such as deaths by a life table, with exact Poisson limits."""

from math import exp, lgamma, log
from typing import Any, NamedTuple

from server.outcomes.arithmetic.root import reached

BEYOND = 0.025  # beyond each of two limits at 95 percent
MOST = 100_000
LEAST = 1e-6  # fewer expected deaths than that are none, and a ratio to them no number
FEW = 0.5
METHOD = "ratio: observed / expected; limits 95%, exact Poisson limits of the observed over the expected (Garwood 1936)"
TOO_FEW = (
    "fewer than half of the expected deaths were observed, even at the upper limit: "
    "deaths may be missing from the record, or these people are healthier than those of the table"
)


class Count(NamedTuple):
    lower: float
    upper: float


def poisson_limits(k: int) -> Count:
    """The means at which `k` or more, and `k` or less, has a probability of 2.5 percent (Garwood, Biometrika 1936;28:437-442)."""
    lower = reached(lambda mean: _at_least(k, mean), BEYOND, 0.0, float(k))
    furthest = 2.0 * k + 10  # there `k` or less has a probability below 2.5 percent for every k
    upper = reached(lambda mean: -_at_most(k, mean), -BEYOND, float(k), furthest)
    return Count(lower, upper)


def _probability(k: int, mean: float) -> float:
    return exp(k * log(mean) - mean - lgamma(k + 1))


def _at_least(k: int, mean: float) -> float:
    """For a mean of at most `k`: the terms fall."""
    term = total = _probability(k, mean)
    while total + term != total:
        k += 1
        term *= mean / k
        total += term
    return total


def _at_most(k: int, mean: float) -> float:
    """For a mean of at least `k`: the terms fall."""
    term = total = _probability(k, mean)
    while k and total + term != total:
        term *= k / mean
        total += term
        k -= 1
    return total


def deaths_document(observed: int, expected: float) -> dict[str, Any]:
    """`yearmark stats deaths`. Raises ValueError where nothing was expected or too many were observed."""
    if expected < LEAST:
        raise ValueError("EXPECTED must be more than 0, at least 0.000001; without expected deaths there is no ratio")
    if observed > MOST:
        raise ValueError(f"OBSERVED is {observed}; exact limits are formed for at most {MOST}")
    lower, upper = (limit / expected for limit in poisson_limits(observed))
    return {
        "observed": observed,
        "expected": expected,
        "ratio": observed / expected,
        "lower": lower,
        "upper": upper,
        "note": TOO_FEW if upper < FEW else None,
        "method": METHOD,
    }
