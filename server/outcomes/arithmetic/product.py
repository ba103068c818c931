"""Limits of a product of two shares by person, such as unrevised of all whose implant is known times yes of the unrevised who answered.

They are Wilson's on the effective n: that of independent people with whom the product would vary as it does by persons. The variance is
that to which a bootstrap by person tends, to the first order, and so needs no draws: the sum of squares of what each person adds to the
product (the infinitesimal jackknife; Efron, The Jackknife, the Bootstrap and Other Resampling Plans, SIAM 1982, chapter 6).

A share at 0 or 1 does not vary by persons, and that is no certainty. It then varies as that of so many persons who were observed for it
would at the middle of Wilson's limits (Agresti and Coull, Am Stat 1998;52:119-126). Where nobody was revised that leaves the second share
alone, with Wilson's limits on who answered; where everybody is observed for both, it leaves Wilson's limits on all of them.
"""

from collections.abc import Mapping
from typing import NamedTuple

from server.outcomes.arithmetic.proportion import Z_95, Interval, score_limits

SQUARE = Z_95**2
Counts = tuple[int, int, int, int]


class _Factor(NamedTuple):
    """`k` of `n`; `persons`: who were observed for it."""

    k: int
    n: int
    persons: int

    @property
    def share(self) -> float:
        return self.k / self.n

    @property
    def near(self) -> float:
        """The share itself, and at an end the middle of Wilson's limits."""
        inside = 0 < self.k < self.n
        return self.share if inside else (self.share * self.persons + SQUARE / 2) / (self.persons + SQUARE)

    def variance(self, n: int) -> float:
        """Of this share of `n` people."""
        return self.near * (1 - self.near) / n


def product_by_person(persons: Mapping[Counts, int]) -> Interval | None:
    """`persons`: how many there are who count so many kept, lost, yes and no: kept of kept and lost, times yes of yes and no.

    None where nobody counts for one of the shares.
    """
    kept, lost, yes, no = (sum(counts[place] * people for counts, people in persons.items()) for place in range(4))
    if not kept + lost or not yes + no:
        return None
    first = _Factor(kept, kept + lost, sum(people for counts, people in persons.items() if any(counts[:2])))
    second = _Factor(yes, yes + no, sum(people for counts, people in persons.items() if any(counts[2:])))
    return score_limits(first.share * second.share, _effective(persons, first, second))


def _effective(persons: Mapping[Counts, int], first: _Factor, second: _Factor) -> float:
    """Never more than if nobody counted twice. Where nothing was lost the first share is taken as 1, by no fewer than were seen."""
    kept_all = first.k == first.n
    near = 1.0 if kept_all else first.near
    product = near * second.near
    variance = sum(
        people
        * (
            second.near * (counts[0] - first.share * sum(counts[:2])) / first.n
            + near * (counts[2] - second.share * sum(counts[2:])) / second.n
        )
        ** 2
        for counts, people in persons.items()
    )
    of_first = 0.0 if kept_all else first.variance(first.n)
    single = near**2 * second.variance(second.n) + second.near**2 * of_first
    if second.k in (0, second.n):
        variance += near**2 * second.variance(second.persons)
    if first.k == 0:
        variance += second.near**2 * first.variance(first.persons)
    found = product * (1 - product) / max(variance, single)
    return min(found, first.persons) if kept_all and first.persons < second.persons else found
