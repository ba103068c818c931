"""Linear regression by least squares, with limits by person: somebody with two shoulders counts as one who moves the line twice.

In plain Python: there are a handful of columns, and a library of matrices would be loaded for these lines alone.
"""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Sequence
from math import sqrt
from operator import mul
from typing import NamedTuple

from server.outcomes.arithmetic.student import t_quantile

# Of a column's length, what is left once the columns before it are taken out; less is rounding, and it says nothing that they do not.
DEPENDENT = 1e-9
Vector = list[float]


class Estimate(NamedTuple):
    """Limits by Student's t with one degree of freedom less than there are persons."""

    value: float
    lower: float
    upper: float


class Fit(NamedTuple):
    """`covariance` of the coefficients: the sandwich by person, times persons / (persons - 1) x (n - 1) / (n - columns)."""

    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    n: int
    persons: int

    def combined(self, weights: Sequence[float], level: float = 0.95) -> Estimate:
        """A sum of coefficients with its limits: a difference of two is weights of 1 and -1."""
        value = _product(weights, self.coefficients)
        variance = _product(weights, [_product(weights, row) for row in self.covariance])
        half = t_quantile((1 + level) / 2, self.persons - 1) * sqrt(max(0.0, variance))
        return Estimate(value, value - half, value + half)


def least_squares(
    rows: Sequence[Sequence[float]], outcomes: Sequence[float], persons: Sequence[Hashable]
) -> Fit | None:
    """One row of predictors for each outcome, a 1 for the constant among them.

    None where limits cannot be formed: no more rows than columns, a single person, columns of which one follows from the others, or
    outcomes that the predictors meet exactly, since limits of no width would claim certainty.
    """
    n, people, columns = len(rows), len(set(persons)), [list(column) for column in zip(*rows, strict=True)]
    made = _orthogonal(columns)
    if made is None or people < 2:
        return None
    directions, triangle = made
    coefficients = _solved(triangle, [_product(direction, outcomes) for direction in directions])
    left = _without(list(outcomes), zip(coefficients, columns, strict=True))
    if max(map(abs, left)) <= DEPENDENT * max(map(abs, outcomes)):
        return None
    moved = [_by_person(map(mul, direction, left), persons) for direction in directions]
    products = [[_product(first, second) for second in moved] for first in moved]
    half = [_solved(triangle, row) for row in products]  # the triangle is taken out of one side, then of the other
    scale = people / (people - 1) * (n - 1) / (n - len(columns))
    covariance = tuple(
        tuple(scale * value for value in _solved(triangle, column)) for column in zip(*half, strict=True)
    )
    return Fit(tuple(coefficients), covariance, n, people)


def _by_person(values: Iterable[float], persons: Sequence[Hashable]) -> Vector:
    """Sums, in an order that is the same for all values of the same persons."""
    sums: dict[Hashable, float] = defaultdict(float)
    for value, person in zip(values, persons, strict=True):
        sums[person] += value
    return list(sums.values())


def _orthogonal(columns: Sequence[Vector]) -> tuple[list[Vector], list[Vector]] | None:
    """Directions at right angles, and the triangle by which columns are made of them (modified Gram-Schmidt); None if one is not new."""
    directions: list[Vector] = []
    triangle = [[0.0] * len(columns) for _ in columns]
    for place, column in enumerate(columns):
        length, rest = sqrt(_product(column, column)), column
        for before, direction in enumerate(directions):
            share = triangle[before][place] = _product(direction, rest)
            rest = _without(rest, [(share, direction)])
        left = sqrt(_product(rest, rest))
        if left <= DEPENDENT * length:
            return None
        triangle[place][place] = left
        directions.append([value / left for value in rest])
    return directions, triangle


def _solved(triangle: Sequence[Vector], wanted: Sequence[float]) -> Vector:
    """From the last row up."""
    found: Vector = []
    for place in reversed(range(len(wanted))):
        known = _product(triangle[place][place + 1 :], found)
        found.insert(0, (wanted[place] - known) / triangle[place][place])
    return found


def _without(values: Vector, parts: Iterable[tuple[float, Sequence[float]]]) -> Vector:
    """Less so much of each direction."""
    for share, direction in parts:
        values = [value - share * along for value, along in zip(values, direction, strict=True)]
    return values


def _product(first: Sequence[float], second: Sequence[float]) -> float:
    found: float = sum(map(mul, first, second))
    return found
