"""The self-consistent estimator for events of which only an interval is known (Turnbull, J R Stat Soc B 1976;38:290-295).

An event lies in (left, right]; left = right is an exact time; right = infinity is not yet. Only the innermost intervals can hold
mass: those that begin at a left end, stop at a right end and have no other end inside.

Turnbull's own iteration creeps near the end, so each of its rounds is followed by one of the iterative convex minorant (the hybrid
of Wellner and Zhan, J Am Stat Assoc 1997;92:945-959); whichever of them moved, it is the condition of self-consistency that ends it.
"""

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Sequence
from itertools import accumulate, pairwise
from math import inf, log
from typing import NamedTuple

SELF_CONSISTENT = 1e-11  # finer than the 1e-8 of the convention, so that a share reached just so is seen as reached
MOST_ROUNDS = 20_000
HALVINGS = 40
NO_MASS = 1e-9
REACHED = 1e-8
Ends = tuple[float, float]


class Mass(NamedTuple):
    """`mass` of all events lies in (left, right], or at the time itself where both are the same."""

    left: float
    right: float
    mass: float


class NotSettled(ArithmeticError):
    """The estimate did not settle within the rounds that it is given."""


class _Cover(NamedTuple):
    """So many rows hold the innermost intervals from `first` up to and without `past`."""

    first: int
    past: int
    rows: int


def self_consistent(intervals: Sequence[Ends]) -> list[Mass]:
    """The innermost intervals that hold mass, in order. Raises NotSettled."""
    # A place is a time and whether it lies just before (0) or just after (1) it: (2, 3] runs from (2, 1) to (3, 1), an exact 3 from (3, 0).
    begins = [(left, int(left != right)) for left, right in intervals]
    stops = [(right, 1) for _, right in intervals]
    # A stop comes before a begin at the same place: (1, 2] and (2, 3] have nothing in common.
    places = sorted({(place, 1) for place in begins} | {(place, 0) for place in stops})
    inner = [(begin, stop) for (begin, one), (stop, other) in pairwise(places) if one and not other]
    first_places, last_places = [begin for begin, _ in inner], [stop for _, stop in inner]
    held = Counter(
        (bisect_left(first_places, begin), bisect_right(last_places, stop))
        for begin, stop in zip(begins, stops, strict=True)
    )
    masses = _settled([_Cover(first, past, rows) for (first, past), rows in held.items()], len(inner))
    return [Mass(begin[0], stop[0], mass) for (begin, stop), mass in zip(inner, masses, strict=True) if mass > NO_MASS]


def quartile(masses: Sequence[Mass], share: float) -> Ends:
    """The first interval by whose end that share of the events has happened."""
    reached = accumulate(mass.mass for mass in masses)
    return next((mass.left, mass.right) for mass, by in zip(masses, reached, strict=True) if by > share - REACHED)


def _settled(covers: Sequence[_Cover], size: int) -> list[float]:
    """The masses at which each is what the rows, given all of them, expect it to be."""
    masses = [1 / size] * size
    for _ in range(MOST_ROUNDS):
        demand = _demand(covers, masses)
        off = max(max(abs(mass * (asked - 1)), asked - 1) for mass, asked in zip(masses, demand, strict=True))
        if off <= SELF_CONSISTENT:
            return masses
        masses = _convex_minorant(covers, [mass * asked for mass, asked in zip(masses, demand, strict=True)])
    raise NotSettled("the self-consistent estimate did not settle")


def _cumulative(masses: Sequence[float]) -> list[float]:
    return list(accumulate(masses, initial=0.0))


def _demand(covers: Sequence[_Cover], masses: Sequence[float]) -> list[float]:
    """For each interval the mean over the rows that hold it of 1 / (mass in the row): 1 where it has what it should, above 1 where
    it should have more. Turnbull's iteration multiplies each mass by it."""
    below, slopes = _cumulative(masses), [0.0] * (len(masses) + 1)
    for first, past, rows in covers:
        share = rows / (below[past] - below[first])
        slopes[first] += share
        slopes[past] -= share
    total = sum(cover.rows for cover in covers)
    return [slope / total for slope in accumulate(slopes[:-1])]


def _likelihood(covers: Sequence[_Cover], below: Sequence[float]) -> float:
    shares = [(below[past] - below[first], rows) for first, past, rows in covers]
    return sum(rows * log(share) for share, rows in shares) if min(shares)[0] > 0 else -inf


def _convex_minorant(covers: Sequence[_Cover], masses: Sequence[float]) -> list[float]:
    """One round: the cumulative masses go to where each alone would stand best, kept in order, by as much as makes the rows likelier."""
    below = _cumulative(masses)
    slopes, weights = [0.0] * len(below), [0.0] * len(below)
    for first, past, rows in covers:
        share = below[past] - below[first]
        slopes[past] += rows / share
        slopes[first] -= rows / share
        weights[past] += rows / share**2
        weights[first] += rows / share**2
    wanted = [at + slope / weight for at, slope, weight in zip(below, slopes, weights, strict=True)][1:-1]
    target = [0.0, *(min(1.0, max(0.0, at)) for at in _in_order(wanted, weights[1:-1])), 1.0]
    before, part = _likelihood(covers, below), 1.0
    for _ in range(HALVINGS):
        tried = [at + part * (to - at) for at, to in zip(below, target, strict=True)]
        if _likelihood(covers, tried) >= before:
            return [max(0.0, later - earlier) for earlier, later in pairwise(tried)]
        part /= 2
    return list(masses)


def _in_order(values: Sequence[float], weights: Sequence[float]) -> list[float]:
    """The nearest values that never fall, by weighted squares: neighbours that fall are pooled."""
    pools: list[tuple[float, float, int]] = []
    for value, weight in zip(values, weights, strict=True):
        pool = (value, weight, 1)
        while pools and pools[-1][0] >= pool[0]:
            at, heavy, count = pools.pop()
            together = heavy + pool[1]
            pool = ((at * heavy + pool[0] * pool[1]) / together, together, count + pool[2])
        pools.append(pool)
    return [at for at, _, count in pools for _ in range(count)]
