"""What the picture of a person's course shows: scales, values, operations and own answers, before anything has a place."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from server.words.language import Words


@dataclass(frozen=True)
class Point:
    """`href` leads to the answers behind it; empty for none."""

    on: date
    value: float
    said: str  # "11, year 3, own phone"
    text: str  # "11"
    href: str = ""


@dataclass(frozen=True)
class Line:
    """One shoulder's values on one scale. `unanswered_on`: days of timepoints that asked for it and gave no value."""

    side: str
    points: tuple[Point, ...]
    unanswered_on: tuple[date, ...] = ()


@dataclass(frozen=True)
class Panel:
    """`href` leads to what the scale is, and `said` is what a reader of the screen hears for it; empty for none."""

    title: str
    note: str  # "0–12, higher is better"
    low: float
    high: float
    lines: tuple[Line, ...]
    href: str = ""
    said: str = ""


@dataclass(frozen=True)
class OperationMark:
    """A marked operation. `planned` is drawn hollow."""

    side: str
    on: date
    words: str
    planned: bool = False


@dataclass(frozen=True)
class StateMark:
    """One yes or no of the patient."""

    side: str
    on: date
    yes: bool
    word: str
    said: str  # "left yes: 1 June 2012"
    href: str = ""


@dataclass(frozen=True)
class SpacerMark:
    """The days between the stages of an exchange, of one shoulder; shaded."""

    side: str
    first: date
    last: date
    words: str


@dataclass(frozen=True)
class CourseChart:
    """`sides`: what stands at the end of each shoulder's lines, nothing where the picture holds one shoulder alone."""

    title: str
    panels: tuple[Panel, ...]
    operations: tuple[OperationMark, ...]
    words: tuple[StateMark, ...]
    words_title: str
    today: date
    sides: Mapping[str, str]
    language: Words
    spacers: tuple[SpacerMark, ...] = ()
