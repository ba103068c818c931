"""What goes into a result weighted for silence, and what comes out of it; apart from the reckoning, which needs numpy."""

from dataclasses import dataclass

from server.outcomes.arithmetic.proportion import Interval

FEWEST_SILENT, SMALLEST_EFFECTIVE_N = 20, 30


@dataclass(frozen=True)
class Expected:
    """A shoulder of which an answer was expected. `value`: None of a silent one. `known`: the predictors, in their order."""

    person: object
    value: float | None
    known: tuple[float, ...]


@dataclass(frozen=True)
class Weighted:
    """`predictors`: how many were used. `cut`: how many answers had their weight cut; then it lies between `smallest` and `largest`, 1
    being the mean weight."""

    result: Interval
    answered: int
    silent: int
    predictors: int
    effective_n: float
    cut: int
    smallest: float
    largest: float


@dataclass(frozen=True)
class NotWeighted:
    """Why there is none: `silent` are too few, `effective_n` is too small, or `predictors`: there is none that may be used."""

    reason: str
    count: int
