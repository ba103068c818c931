"""What the two shoulders of each person are drawn from: a column for each answer, a line for each person, and the share on a ruler."""

from dataclasses import dataclass
from typing import Literal

# How one person's tick is drawn who answered so.
Tick = Literal["prefers", "no_difference", "silent"]


@dataclass(frozen=True)
class Line:
    """One person: the rating of each shoulder, and which sides they are; `left` or `right`."""

    first: float
    second: float
    first_side: str
    second_side: str

    @property
    def falls(self) -> bool:
        return self.second < self.first


@dataclass(frozen=True)
class Column:
    """How many answered so, the words for it, and those of them who rated both shoulders."""

    count: int
    words: str
    lines: tuple[Line, ...]
    tick: Tick


@dataclass(frozen=True)
class Ruler:
    """A share of one with its limits, what says it, and the words at its ends and its middle. `full`: enough people for a full line."""

    share: float
    lower: float
    upper: float
    words: str
    ends: tuple[str, str, str]
    full: bool


@dataclass(frozen=True)
class PreferenceFigure:
    """`names`: of the two types, as they stand under each column; `best`: the upper end of the rating, whose lower end is 0.

    `people_words`: what a tick is in the row in which everybody has one.
    """

    title: str
    columns: tuple[Column, ...]
    names: tuple[str, str]
    rating_words: str
    best: int
    left_words: str
    right_words: str
    lower_words: str
    people_words: str
    ruler: Ruler | None
