"""Simulated series: how often the limits hold the truth, beside how often they must by exact computation.

A limit for a share cannot hold the truth in 95 of 100 series at every share: a count jumps. So what was simulated is compared with the
coverage that is computed exactly for that truth and that number of people, and not with a band around 95.
"""

from collections.abc import Callable, Sequence
from functools import partial
from math import sqrt
from random import Random
from typing import NamedTuple

from server.outcomes.arithmetic.clustered import mean_by_person
from server.outcomes.arithmetic.proportion import Interval, wilson, wilson_by_person
from tests.outcomes.arithmetic.coverage import lowest_coverage, wilson_coverage
from tests.soak.proof import Proof

SERIES, SERIES_OF_MEANS = 4000, 500  # Student's t is worked out for each mean, from its definition
FURTHEST = 4.5  # standard errors of a simulated share, which all these comparisons together pass once in 5,000 runs
SHARES, SIZES = (0.05, 0.3, 0.5, 0.8, 0.97), (10, 20, 50, 200)
EXACTLY_AT_WORST = 0.8366  # of Wilson's limits for 20 people over all shares (outcomes in print give it so)


def coverage_of_limits() -> list[Proof]:
    chance = Random(20_240_601)
    return [_wilson(chance), _by_person(chance), _means(chance)]


def _wilson(chance: Random) -> Proof:
    """Of one yes or no of each person; and the worst over all shares of 20 people, which is known."""
    worst = lowest_coverage(20)
    of_counts = {n: [wilson(k, n) for k in range(n + 1)] for n in SIZES}

    def holds(n: int, share: float) -> bool:
        return _hold(of_counts[n][sum(chance.random() < share for _ in range(n))], share)

    found = [
        _compared(f"n {n}, share {share}", wilson_coverage(n, share), partial(holds, n, share))
        for n in SIZES
        for share in SHARES
    ]
    lost = [] if abs(worst - EXACTLY_AT_WORST) < 5e-5 else [f"the worst of 20 people is {worst:.4f}"]
    return _proof("Wilson's limits", found, lost, f"worst of 20 people {worst:.4f}; ")


def _by_person(chance: Random) -> Proof:
    """Pairs of shoulders that always agree are as many people as there are pairs: so is the exact coverage."""

    def holds(people: int, share: float) -> bool:
        yes = sum(chance.random() < share for _ in range(people))
        return _hold(wilson_by_person({(2, 2): yes, (0, 2): people - yes}), share)

    found = [
        _compared(f"{people} pairs, share {share}", wilson_coverage(people, share), partial(holds, people, share))
        for people in SIZES[1:]
        for share in SHARES
    ]
    return _proof("Wilson's limits by person", found)


def _means(chance: Random) -> Proof:
    """Means of normal scores of people: Student's limits hold exactly 95 of 100, also where both shoulders of a person agree."""

    def holds(people: int, shoulders: int) -> bool:
        values = [(person, chance.gauss(60, 20)) for person in range(people)]
        found = mean_by_person([each for each in values for _ in range(shoulders)])
        return (
            found is not None
            and found.lower is not None
            and found.upper is not None
            and found.lower <= 60 <= found.upper
        )

    found = [
        _compared(f"{people} people, {shoulders} each", 0.95, partial(holds, people, shoulders), SERIES_OF_MEANS)
        for people in SIZES[:3]
        for shoulders in (1, 2)
    ]
    return _proof("limits of a mean by person", found)


class Compared(NamedTuple):
    """`off`: how many standard errors of the simulation lie between what was found and what is exact."""

    what: str
    exact: float
    found: float
    off: float


def _hold(limits: Interval, share: float) -> bool:
    return limits.lower <= share <= limits.upper


def _compared(what: str, exact: float, holds: Callable[[], bool], series: int = SERIES) -> Compared:
    found = sum(holds() for _ in range(series)) / series
    return Compared(what, exact, found, (found - exact) / sqrt(max(exact * (1 - exact), 1 / series) / series))


def _proof(name: str, found: list[Compared], lost: Sequence[str] = (), before: str = "") -> Proof:
    far = [f"{each.what}: {each.found:.4f}, exactly {each.exact:.4f}" for each in found if abs(each.off) > FURTHEST]
    worst = max(found, key=lambda each: abs(each.off))
    tried = f"{len(found)} truths; {before}furthest {worst.what}: {worst.found:.4f}, exactly {worst.exact:.4f}"
    return Proof(name, tried, "; ".join([*lost, *far]) or "nothing")
