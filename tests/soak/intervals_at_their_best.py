"""A thousand random sets of intervals: the self-consistent estimate is the most likely one of all, by the conditions that single it out.

The likelihood has one top, and a distribution stands at it exactly when no place could take mass from another to gain by it (the
conditions of Karush, Kuhn and Tucker): for each innermost interval the mean over the rows that hold it of 1 / (mass in the row) is 1
where it has mass, and at most 1 where it has none. They are worked out here anew, from the rows alone.
"""

from itertools import pairwise
from math import inf
from random import Random

from server.outcomes.arithmetic.intervals import Ends, Mass, self_consistent
from tests.soak.proof import Proof

SETS, ROWS = 1000, 60
NEAR = 1e-7


def intervals_at_their_best() -> Proof:
    chance = Random(19_760_038)
    lost, furthest, rows = [], 0.0, 0
    for number in range(SETS):
        ends = [_interval(chance) for _ in range(chance.randint(1, ROWS))]
        rows += len(ends)
        masses = self_consistent(ends)
        off = max(_off(ends, masses), abs(sum(each.mass for each in masses) - 1))
        furthest = max(furthest, off)
        if off > NEAR:
            lost.append(f"set {number} is off by {off:.2g}")
    tried = f"{SETS} sets, {rows} intervals; furthest from the best {furthest:.1g}"
    return Proof("self-consistent estimate", tried, "; ".join(lost[:5]) or "nothing")


def _interval(chance: Random) -> Ends:
    """Exact, not yet, or between two looks, which for half of the sets' rows lie at whole times, so that ends meet."""
    left = float(chance.randint(0, 12)) if chance.random() < 0.5 else chance.uniform(0, 12)
    kind = chance.random()
    if kind < 0.2:
        return left, left
    return (left, inf) if kind < 0.4 else (left, left + chance.choice([1.0, 2.0, 5.0, chance.uniform(0.1, 6)]))


def _off(rows: list[Ends], masses: list[Mass]) -> float:
    """How far the worst of all places is from its condition."""
    in_row = [sum(mass.mass for mass in masses if _lies_in(mass.left, mass.right, row)) for row in rows]
    worst = 0.0
    for left, right in _innermost(rows):
        gain = sum(1 / mass for row, mass in zip(rows, in_row, strict=True) if _lies_in(left, right, row)) / len(rows)
        has = any((mass.left, mass.right) == (left, right) for mass in masses)
        worst = max(worst, abs(gain - 1) if has else gain - 1)
    return worst


def _lies_in(left: float, right: float, row: Ends) -> bool:
    """Whether (left, right], or an exact time, is part of what the row says."""
    if row[0] == row[1]:
        return (left, right) == row
    return (left > row[0] if left == right else left >= row[0]) and right <= row[1]


def _innermost(rows: list[Ends]) -> set[Ends]:
    """Every part that some rows have in common and no end of a row divides."""
    ends = sorted({end for row in rows for end in row})
    pieces = [(end, end) for end in ends if (end, end) in rows]
    pieces += pairwise(ends)
    return {piece for piece in pieces if any(_lies_in(*piece, row) for row in rows)}
