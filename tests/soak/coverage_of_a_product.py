"""Simulated series: how often the limits of the acceptable share hold the truth, beside how often they must by exact computation.

The share is a product: unrevised among all whose implant is known, times yes among the unrevised who answered. Every count that a series
can have is gone through with its probability. Its limits are those of the effective n by the variance to which the resamples tend,
without their own chance, which may move a series at the edge of the limits to either side: for that a hundredth is allowed.
"""

from collections.abc import Sequence
from math import comb, sqrt
from random import Random

from server.outcomes.arithmetic.proportion import Interval, score_limits
from server.outcomes.arithmetic.resampling import resampled_share
from tests.soak.proof import Proof

PEOPLE, SERIES, ALLOWED, FURTHEST = 40, 1500, 0.01, 4.0
# The chances of a person: revised; unrevised and yes, no, or silent.
TRUTHS = ((0.1, 0.6, 0.15, 0.15), (0.3, 0.3, 0.2, 0.2), (0.05, 0.8, 0.05, 0.1))
# What such a person counts: unrevised, revised, yes, no.
KINDS = ((0, 1, 0, 0), (1, 0, 1, 0), (1, 0, 0, 1), (1, 0, 0, 0))


def coverage_of_a_product() -> Proof:
    chance, lost, said = Random(40), [], []
    for truth in TRUTHS:
        share = (1 - truth[0]) * truth[1] / (truth[1] + truth[2])
        exact, found = _exactly(truth, share), sum(_holds(truth, share, chance) for _ in range(SERIES)) / SERIES
        said.append(f"{found:.4f}, exactly {exact:.4f}")
        if abs(found - exact) > ALLOWED + FURTHEST * sqrt(exact * (1 - exact) / SERIES):
            lost.append(f"at {truth}: {said[-1]}")
    return Proof(
        "limits of the acceptable share",
        f"{PEOPLE} people, {SERIES} series each: " + "; ".join(said),
        "; ".join(lost) or "nothing",
    )


def _product(sums: Sequence[int]) -> float | None:
    unrevised, revised, yes, no = sums
    return unrevised / (unrevised + revised) * yes / (yes + no) if yes + no else None


def _holds(truth: Sequence[float], share: float, chance: Random) -> bool:
    """A series in which nothing can be said holds nothing."""
    people = chance.choices(range(len(KINDS)), truth, k=PEOPLE)
    found = resampled_share(
        {kind: people.count(place) for place, kind in enumerate(KINDS) if place in people}, _product, chance.random
    )
    return found is not None and found.lower <= share <= found.upper


def _exactly(truth: Sequence[float], share: float) -> float:
    found = 0.0
    for revised in range(PEOPLE + 1):
        for yes in range(PEOPLE + 1 - revised):
            for no in range(PEOPLE + 1 - revised - yes):
                counts = (revised, yes, no, PEOPLE - revised - yes - no)
                limits = _limits(*counts)
                if limits is not None and limits.lower <= share <= limits.upper:
                    found += _probability(counts, truth)
    return found


def _probability(counts: Sequence[int], truth: Sequence[float]) -> float:
    left, found = PEOPLE, 1.0
    for count, chance in zip(counts, truth, strict=True):
        found *= comb(left, count) * chance**count
        left -= count
    return found


def _limits(revised: int, yes: int, no: int, silent: int) -> Interval | None:
    """By the variance of independent Poisson numbers of each kind, to the first order."""
    unrevised = yes + no + silent
    found = _product((unrevised, revised, yes, no))
    if found is None:
        return None
    if not 0 < found < 1:
        return score_limits(found, PEOPLE)
    of_unrevised, of_revised = found / unrevised - found / PEOPLE, -found / PEOPLE
    of_yes, of_no = found / yes - found / (yes + no), -found / (yes + no)
    variance = revised * of_revised**2 + silent * of_unrevised**2
    variance += yes * (of_unrevised + of_yes) ** 2 + no * (of_unrevised + of_no) ** 2
    return score_limits(found, found * (1 - found) / variance)
