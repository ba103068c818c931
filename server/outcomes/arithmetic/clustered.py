"""Means and changes where one person may count with two shoulders: limits by person, never as if the shoulders were strangers.

The mean is that of an independence working model, which gives every shoulder the same weight; its standard error adds up each person's
distances from it before they are squared (Liang and Zeger, Biometrika 1986;73:13-22), times persons / (persons - 1), so that where nobody
counts twice it is the usual one. Limits by Student's t with persons - 1.
"""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Sequence
from math import sqrt
from typing import NamedTuple

from server.outcomes.arithmetic.paired import ChangeLimits, PairedChange, change_limits
from server.outcomes.arithmetic.student import t_quantile

Sums = tuple[
    float, float, float, float, float
]  # how many pairs; of scores before and of changes the sum and the sum of squares


class MeanLimits(NamedTuple):
    """None where they cannot be formed: of one person, or where all values are the same, since no width would claim certainty."""

    n: int
    people: int
    mean: float
    se: float | None = None
    lower: float | None = None
    upper: float | None = None


class PersonPair(NamedTuple):
    person: Hashable
    before: float
    after: float


def mean_by_person(values: Iterable[tuple[Hashable, float]]) -> MeanLimits | None:
    """Of (person, value); None of nobody."""
    known = list(values)
    if not known:
        return None
    n = len(known)
    mean = sum(value for _person, value in known) / n
    distances: dict[Hashable, float] = defaultdict(float)
    for person, value in known:
        distances[person] += value - mean
    people = len(distances)
    if people < 2 or len({value for _person, value in known}) == 1:
        return MeanLimits(n, people, mean)
    se = sqrt(people / (people - 1) * sum(each * each for each in distances.values())) / n
    half = t_quantile(0.975, people - 1) * se
    return MeanLimits(n, people, mean, se, mean - half, mean + half)


def change_limits_by_person(change: PairedChange, pairs: Sequence[PersonPair]) -> ChangeLimits:
    """Of the change of these pairs: exact by the noncentral t where nobody counts twice, else by person."""
    if len({pair.person for pair in pairs}) == len(pairs):
        return change_limits(change)
    mean = mean_by_person((pair.person, pair.after - pair.before) for pair in pairs)
    sizes = list(_without_each(pairs))
    effect = _jackknifed(change.effect_size, [effect for effect, _srm in sizes])
    srm = _jackknifed(change.srm, [srm for _effect, srm in sizes])
    return ChangeLimits(mean and mean.lower, mean and mean.upper, *effect, *srm)


def _without_each(pairs: Sequence[PersonPair]) -> Iterator[tuple[float | None, float | None]]:
    """Effect size and srm of all the others, for each person in turn."""
    of_person: dict[Hashable, list[Sums]] = defaultdict(list)
    for person, before, after in pairs:
        by = after - before
        of_person[person].append((1, before, before * before, by, by * by))
    each = [_added(shoulders) for shoulders in of_person.values()]
    total = _added(each)
    for own in each:
        n, before, before_squares, by, by_squares = (all_of - part for all_of, part in zip(total, own, strict=True))
        sd_before, sd_change = _spread(n, before, before_squares), _spread(n, by, by_squares)
        yield (by / n / sd_before if sd_before else None), (by / n / sd_change if sd_change else None)


def _added(sums: Iterable[Sums]) -> Sums:
    n, before, before_squares, by, by_squares = map(sum, zip(*sums, strict=True))
    return n, before, before_squares, by, by_squares


def _spread(n: float, total: float, squares: float) -> float | None:
    if n < 2:
        return None
    square = (squares - total * total / n) / (n - 1)
    return sqrt(square) if square > 1e-12 * squares else None


def _jackknifed(estimate: float | None, without: Sequence[float | None]) -> tuple[float | None, float | None]:
    """None where the size cannot be formed without one of them."""
    known = [each for each in without if each is not None]
    people = len(without)
    if estimate is None or len(known) < people:
        return None, None
    middle = sum(known) / people
    se = sqrt((people - 1) / people * sum((each - middle) ** 2 for each in known))
    half = t_quantile(0.975, people - 1) * se
    return estimate - half, estimate + half
