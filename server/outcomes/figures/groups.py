"""What groups side by side are drawn from: panels, each a scale with one line for each group and each difference of two."""

from collections.abc import Callable
from dataclasses import dataclass

MARKS = 4  # shapes there are; none is a circle or a square, which are left and right


@dataclass(frozen=True)
class GroupLine:
    """`words`: who and how much, with the counts. `n` decides how heavy it is drawn; `mark`: the number of the group, None of a difference.

    `value` None: counted and not drawn.
    """

    words: str
    n: int
    mark: int | None = None
    value: float | None = None
    lower: float | None = None
    upper: float | None = None

    @property
    def numbers(self) -> tuple[float, ...]:
        return tuple(each for each in (self.value, self.lower, self.upper) if each is not None)


@dataclass(frozen=True)
class GroupPanel:
    """`ticks`: numbers of its scale with their words, from end to end."""

    title: str
    note: str
    ticks: tuple[tuple[float, str], ...]
    lines: tuple[GroupLine, ...]

    @property
    def low(self) -> float:
        return self.ticks[0][0]

    @property
    def high(self) -> float:
        return self.ticks[-1][0]


@dataclass(frozen=True)
class GroupsFigure:
    title: str
    panels: tuple[GroupPanel, ...]


def ticks_over(numbers: tuple[float, ...], written: Callable[[float], str]) -> tuple[tuple[float, str], ...]:
    """Round numbers from below the least to above the greatest, zero among them, seven at most. `written`: as the language has them."""
    low, high = min((0.0, *numbers)), max((0.0, *numbers))
    step = 0.5
    while not _fits(low, high, step):
        digits = f"{step:e}"[0]
        step = float(f"{step * (2.5 if digits == '2' else 2):.6g}")
    first, last = _floor(low / step), -_floor(-high / step)
    last = max(last, first + 1)
    return tuple(
        (number * step, written(round(number * step, 6)).replace("-", "−")) for number in range(first, last + 1)
    )


def _fits(low: float, high: float, step: float) -> bool:
    return -_floor(-high / step) - _floor(low / step) <= 6


def _floor(value: float) -> int:
    whole = int(value)
    return whole - (value < whole and abs(value - whole) > 1e-9)
