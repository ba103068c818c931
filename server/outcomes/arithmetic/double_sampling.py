"""Double sampling: a part of the silent, drawn by lot and pursued to the end, stands for all of them (Hansen and Hurwitz, J Am Stat Assoc
1946;41:517-529; Horvitz and Thompson, J Am Stat Assoc 1952;47:663-685).

Who answered counts once; who was drawn and answered counts one over the chance to be drawn, brought to the known number of those whose
lot was cast. Only this does not suppose that the silent resemble those who answer. It supposes that the drawn who stayed silent resemble
the drawn who answered, so it is worth what the share of the latter is: `answered_well`.

What somebody answered whose lot was cast and not drawn does not count: the drawn stand for them too, and whoever answers by themselves
is not like the others.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from server.outcomes.arithmetic.limits import limits_of
from server.outcomes.arithmetic.proportion import Interval

FEWEST = 5  # answers of the drawn, below which nothing is estimated
PRIMARY_FROM, WELL = 10, 0.75  # answers, and their share of the drawn, from which on this is the primary result


@dataclass(frozen=True)
class Told:
    """Who answered before any lot was cast."""

    person: object
    value: float


@dataclass(frozen=True)
class Lot:
    """Whose lot was cast. `probability`: None where it was not drawn. `value`: None where nothing was answered."""

    person: object
    probability: float | None = None
    value: float | None = None


@dataclass(frozen=True)
class DoubleSampled:
    """`result` is None where fewer than five of the drawn answered; `of_silent`: what it makes of the silent alone."""

    answered: int
    cast: int
    drawn: int
    drawn_answered: int
    result: Interval | None
    of_silent: float | None

    @property
    def answered_well(self) -> bool:
        return self.drawn_answered >= max(PRIMARY_FROM, WELL * self.drawn)


def double_sampled(told: Sequence[Told], lots: Sequence[Lot], *, share: bool) -> DoubleSampled:
    """`share`: values are 0 or 1."""
    drawn = [lot for lot in lots if lot.probability is not None]
    reached = [
        (lot.person, lot.value, 1 / lot.probability) for lot in drawn if lot.value is not None and lot.probability
    ]
    counts = (len(told), len(lots), len(drawn), len(reached))
    if len(reached) < FEWEST:
        return DoubleSampled(*counts, None, None)
    number, size = len(told) + len(lots), len(lots)
    whole = sum(weight for _, _, weight in reached)
    of_silent = sum(weight * value for _, value, weight in reached) / whole
    mean = (sum(each.value for each in told) + size * of_silent) / number
    first: dict[object, float] = defaultdict(float)
    for each in told:
        first[each.person] += (each.value - mean) / number
    for lot in lots:
        first[lot.person] += (of_silent - mean) / number
    second: dict[object, float] = defaultdict(float)
    for person, value, weight in reached:
        second[person] += size / number * weight / whole * (value - of_silent)
    among, within = _squares(first), _squares(second)
    if share:
        within = max(within, _least(len(reached), of_silent) * (size / number) ** 2)
    variance = among + within
    df = variance**2 / (among**2 / max(1, len(first) - 1) + within**2 / max(1, len(second) - 1)) if variance else inf
    effective = number**2 / (len(told) + sum((size * weight / whole) ** 2 for _, _, weight in reached))
    return DoubleSampled(*counts, limits_of(mean, variance, effective, share=share, df=df), of_silent)


def _squares(influence: dict[object, float]) -> float:
    """The variance of a sum to which each person adds this."""
    n = len(influence)
    return n / (n - 1) * sum(each * each for each in influence.values()) if n > 1 else 0.0


def _least(n: int, share: float) -> float:
    """The variance of a share of so few, as if one more had said yes and one more no: that all said the same is no certainty."""
    near = (share * n + 1) / (n + 2)
    return near * (1 - near) / n
