"""Masses that are self-consistent: each is what the rows, given all of them, expect it to be (Turnbull, J R Stat Soc B 1976;38:290-295).

Turnbull's own iteration creeps near the end, so each of its rounds is followed by one of the iterative convex minorant (the hybrid
of Wellner and Zhan, J Am Stat Assoc 1997;92:945-959); whichever of them moved, it is the condition of self-consistency that ends it.
"""

from collections.abc import Sequence
from itertools import accumulate, pairwise
from math import inf, log
from typing import NamedTuple

SELF_CONSISTENT = 1e-11  # finer than the 1e-8 of the convention, so that a share reached just so is seen as reached
MOST_ROUNDS = 20_000
HALVINGS = 40


class NotSettled(ArithmeticError):
    """The estimate did not settle within the rounds that it is given."""


class Cover(NamedTuple):
    """So many rows hold the cells of these ranges, each from its first up to and without its second, and no others."""

    ranges: tuple[tuple[int, int], ...]
    rows: int


def settled(covers: Sequence[Cover], size: int) -> list[float]:
    """The masses of `size` cells on a line, each of which some cover holds. Raises NotSettled."""
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


def _share(ranges: tuple[tuple[int, int], ...], below: Sequence[float]) -> float:
    """How much of the mass lies in these ranges."""
    return sum(below[past] - below[first] for first, past in ranges)


def _demand(covers: Sequence[Cover], masses: Sequence[float]) -> list[float]:
    """For each cell the mean over the rows that hold it of 1 / (mass in the row): 1 where it has what it should, above 1 where
    it should have more. Turnbull's iteration multiplies each mass by it."""
    below, slopes = _cumulative(masses), [0.0] * (len(masses) + 1)
    for ranges, rows in covers:
        share = rows / _share(ranges, below)
        for first, past in ranges:
            slopes[first] += share
            slopes[past] -= share
    total = sum(cover.rows for cover in covers)
    return [slope / total for slope in accumulate(slopes[:-1])]


def _likelihood(covers: Sequence[Cover], below: Sequence[float]) -> float:
    shares = [(_share(ranges, below), rows) for ranges, rows in covers]
    return sum(rows * log(share) for share, rows in shares) if min(shares)[0] > 0 else -inf


def _convex_minorant(covers: Sequence[Cover], masses: Sequence[float]) -> list[float]:
    """One round: the cumulative masses go to where each alone would stand best, kept in order, by as much as makes the rows likelier."""
    below = _cumulative(masses)
    slopes, weights = [0.0] * len(below), [0.0] * len(below)
    for ranges, rows in covers:
        share = _share(ranges, below)
        for end, sign in ((end, sign) for ends in ranges for end, sign in zip(ends, (-1, 1), strict=True)):
            slopes[end] += sign * rows / share
            weights[end] += rows / share**2
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
