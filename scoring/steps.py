"""The steps that turn one number into another: reverse, rescale, band, table, round, limit.

Numbers are whole numbers or fractions, so that a score is rounded once, at its very end, and comes out the same to the
last bit on any machine in any year. Every step rises or falls throughout: what it can give lies between what the two
ends of its input give.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import lcm
from typing import Any, Protocol

from scoring.data_reader import DataProblem, Node

Number = int | float
Exact = int | Fraction
Limits = tuple[Exact, Exact]


class Step(Protocol):
    """`whole`: whole numbers stay whole; `makes_whole`: any number becomes whole."""

    @property
    def whole(self) -> bool: ...
    @property
    def makes_whole(self) -> bool: ...
    def apply(self, value: Exact) -> Exact: ...
    def explain(self, value: Exact) -> str: ...


def number_of(value: Exact) -> Number:
    """The number itself: whole when it is, otherwise the nearest float."""
    return value.numerator if value.denominator == 1 else value.numerator / value.denominator


def words_of(value: Exact) -> str:
    """A number for people: up to four decimals, without trailing zeros."""
    number = number_of(value)
    return str(number) if isinstance(number, int) else f"{number:.4f}".rstrip("0").rstrip(".")


def fraction_of(number: Number) -> Fraction:
    """The decimal as written: 16.2 is 81/5."""
    return Fraction(repr(number))


@dataclass(frozen=True)
class Affine:
    """value -> (slope * value + shift) / divisor; `reverse` and `rescale` are two ways to write one; `how` says which."""

    slope: int
    shift: int
    divisor: int
    how: Callable[[str], str] = field(compare=False)

    makes_whole = False

    @property
    def whole(self) -> bool:
        return self.divisor == 1

    def apply(self, value: Exact) -> Exact:
        multiple = self.slope * value + self.shift
        return multiple if self.divisor == 1 else Fraction(multiple, self.divisor)

    def explain(self, value: Exact) -> str:
        return f"{self.how(words_of(value))} = {words_of(self.apply(value))}"


@dataclass(frozen=True)
class Band:
    """The number of the band a value falls into; `edges` rise, one fewer than `gives`.

    `inclusive`: an edge still belongs to the band below it (up to and including); otherwise it begins the next one.
    """

    edges: tuple[Fraction, ...]
    gives: tuple[Fraction, ...]
    inclusive: bool

    @property
    def whole(self) -> bool:
        return all(each.denominator == 1 for each in self.gives)

    @property
    def makes_whole(self) -> bool:
        return self.whole

    def apply(self, value: Exact) -> Exact:
        edges_below = sum(value > edge if self.inclusive else value >= edge for edge in self.edges)
        return self.gives[edges_below]

    def explain(self, value: Exact) -> str:
        return f"{words_of(value)} falls into the band that gives {words_of(self.apply(value))}"


@dataclass(frozen=True)
class Table:
    """One number for each whole number."""

    gives: Mapping[int, Fraction]

    @property
    def whole(self) -> bool:
        return all(each.denominator == 1 for each in self.gives.values())

    @property
    def makes_whole(self) -> bool:
        return self.whole

    def apply(self, value: Exact) -> Exact:
        return self.gives[int(value)]

    def explain(self, value: Exact) -> str:
        return f"the table gives {words_of(self.apply(value))} for {words_of(value)}"


@dataclass(frozen=True)
class Round:
    """To the nearest whole number, a half upwards: 1.5 becomes 2 and 2.5 becomes 3."""

    whole = True
    makes_whole = True

    def apply(self, value: Exact) -> Exact:
        return (2 * value + 1) // 2

    def explain(self, value: Exact) -> str:
        return f"{words_of(value)} rounded, a half upwards, = {words_of(self.apply(value))}"


@dataclass(frozen=True)
class Limit:
    """At most `high`."""

    high: Fraction
    makes_whole = False

    @property
    def whole(self) -> bool:
        return self.high.denominator == 1

    def apply(self, value: Exact) -> Exact:
        return min(value, self.high)

    def explain(self, value: Exact) -> str:
        return f"{words_of(value)}, at most {words_of(self.high)}, = {words_of(self.apply(value))}"


def parse_step(node: Node, known: Sequence[str], limits: Limits) -> tuple[Step, Limits]:
    """The step, and its limits for an input within these. `known` are members that the caller reads; DataProblem otherwise."""
    name = node.word("name", tuple(STEPS))
    members, parse = STEPS[name]
    node.only("name", *members, *known)
    step = parse(node, limits)
    low, high = sorted(step.apply(end) for end in limits)
    return step, (low, high)


def _reverse(node: Node, limits: Limits) -> Step:
    low, high = _pair(node, "range")
    if (low, high) != limits:
        raise node.refuse("range", f"what is reversed runs from {words_of(limits[0])} to {words_of(limits[1])}")
    total = low + high
    return _affine(Fraction(-1), total, lambda value: f"{words_of(total)} - {value}")


def _rescale(node: Node, limits: Limits) -> Step:
    start, end = _pair(node, "from")
    low, high = _pair(node, "to")
    if start >= end or limits[0] < start or limits[1] > end:
        raise node.refuse("from", f"what is rescaled runs from {words_of(limits[0])} to {words_of(limits[1])}")
    if low == high:
        raise node.refuse("to", "must be two different numbers")
    slope = (high - low) / (end - start)
    return _affine(slope, low - slope * start, lambda value: _rescaled(value, start, slope, low))


def _rescaled(value: str, start: Fraction, slope: Fraction, low: Fraction) -> str:
    text = value if start == 0 else f"({value} - {words_of(start)})"
    if abs(slope) != 1:
        text += f" x {_ratio(abs(slope))}"
    return f"{words_of(low)} - {text}" if slope < 0 else text if low == 0 else f"{words_of(low)} + {text}"


def _ratio(slope: Fraction) -> str:
    return f"{slope.numerator}/{slope.denominator}" if slope.denominator != 1 else str(slope.numerator)


def _affine(slope: Fraction, shift: Fraction, how: Callable[[str], str]) -> Affine:
    divisor = lcm(slope.denominator, shift.denominator)
    return Affine(int(slope * divisor), int(shift * divisor), divisor, how)


def _band(node: Node, limits: Limits) -> Step:
    """`up_to` pairs each band with its upper edge, `from` with its lower one; the outermost edge is an end of the input."""
    if node.has("up_to") == node.has("from"):
        raise node.refuse("up_to", "either this or from must be there")
    key = "up_to" if node.has("up_to") else "from"
    edges, gives = _rows(node, key)
    outer, end = (edges[-1], limits[1]) if key == "up_to" else (edges[0], limits[0])
    if outer != end:
        raise node.refuse(key, f"what is banded runs from {words_of(limits[0])} to {words_of(limits[1])}")
    return Band(edges[:-1] if key == "up_to" else edges[1:], gives, inclusive=key == "up_to")


def _table(node: Node, limits: Limits) -> Step:
    keys, gives = _rows(node, "rows")
    low, high = limits
    if list(keys) != list(range(int(low), int(high) + 1)):
        raise node.refuse("rows", f"must hold every whole number from {words_of(low)} to {words_of(high)}, in order")
    return Table({int(key): value for key, value in zip(keys, gives, strict=True)})


def _round(_node: Node, _limits: Limits) -> Step:
    return Round()


def _limit(node: Node, limits: Limits) -> Step:
    high = fraction_of(node.number("high"))
    if not limits[0] < high < limits[1]:
        raise node.refuse("high", f"what is limited runs from {words_of(limits[0])} to {words_of(limits[1])}")
    return Limit(high)


# Each step by its name in a definition: the members it has, and what reads them.
STEPS: Mapping[str, tuple[tuple[str, ...], Callable[[Node, Limits], Step]]] = {
    "reverse": (("range",), _reverse),
    "rescale": (("from", "to"), _rescale),
    "band": (("up_to", "from"), _band),
    "table": (("rows",), _table),
    "round": ((), _round),
    "limit": (("high",), _limit),
}


def _pair(node: Node, key: str) -> tuple[Fraction, Fraction]:
    low, high = _numbers(node.list(key), node.at(key), 2)
    return low, high


def _rows(node: Node, key: str) -> tuple[tuple[Fraction, ...], tuple[Fraction, ...]]:
    """Pairs whose first numbers rise and whose second ones rise or fall throughout."""
    rows = [_numbers(row, f"{node.at(key)}[{n}]", 2) for n, row in enumerate(node.list(key))]
    first, second = tuple(row[0] for row in rows), tuple(row[1] for row in rows)
    if list(first) != sorted(set(first)):
        raise node.refuse(key, "must rise from row to row")
    if list(second) not in (sorted(second), sorted(second, reverse=True)):
        raise node.refuse(key, "must give numbers that rise or fall throughout")
    return first, second


def _numbers(value: Any, place: str, count: int) -> list[Fraction]:
    if not isinstance(value, list) or len(value) != count:
        raise DataProblem(place, f"must be {count} numbers")
    if any(isinstance(each, bool) or not isinstance(each, int | float) for each in value):
        raise DataProblem(place, f"must be {count} numbers")
    return [fraction_of(each) for each in value]
