"""The self-consistent estimator for events of which only an interval is known (Turnbull, J R Stat Soc B 1976;38:290-295).

An event lies in (left, right]; left = right is an exact time; right = infinity is not yet. Only the innermost intervals can hold
mass: those that begin at a left end, stop at a right end and have no other end inside.
"""

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Sequence
from itertools import accumulate, pairwise
from typing import NamedTuple

from server.outcomes.arithmetic.self_consistency import Cover, settled

NO_MASS = 1e-9
REACHED = 1e-8
Ends = tuple[float, float]


class Mass(NamedTuple):
    """`mass` of all events lies in (left, right], or at the time itself where both are the same."""

    left: float
    right: float
    mass: float


def self_consistent(intervals: Sequence[Ends]) -> list[Mass]:
    """The innermost intervals that hold mass, in order. Raises NotSettled."""
    # A place is a time and whether it lies just before (0) or just after (1) it: (2, 3] runs from (2, 1) to (3, 1), an exact 3 from (3, 0).
    begins = [(left, int(left != right)) for left, right in intervals]
    stops = [(right, 1) for _, right in intervals]
    # A stop comes before a begin at the same place: (1, 2] and (2, 3] have nothing in common.
    places = sorted({(place, True) for place in begins} | {(place, False) for place in stops})
    inner = [(begin, stop) for (begin, one), (stop, other) in pairwise(places) if one and not other]
    first_places, last_places = [begin for begin, _ in inner], [stop for _, stop in inner]
    held = Counter(
        (bisect_left(first_places, begin), bisect_right(last_places, stop))
        for begin, stop in zip(begins, stops, strict=True)
    )
    masses = settled([Cover((span,), rows) for span, rows in held.items()], len(inner))
    return [Mass(begin[0], stop[0], mass) for (begin, stop), mass in zip(inner, masses, strict=True) if mass > NO_MASS]


def quartile(masses: Sequence[Mass], share: float) -> Ends:
    """The first interval by whose end that share of the events has happened."""
    reached = accumulate(mass.mass for mass in masses)
    return next((mass.left, mass.right) for mass, by in zip(masses, reached, strict=True) if by > share - REACHED)
