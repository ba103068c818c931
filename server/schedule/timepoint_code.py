"""A timepoint's code as a value: before surgery, day n, week n, month n or year n after it, and which attempt.

Tables, files and plans keep the code as text (`baseline`, `week-6`, `year-2`), the attempt beside it. Whoever asks what a code
means reads it by `TimepointCode.parse`; nobody else takes the text apart.
"""

import re
from dataclasses import dataclass
from enum import StrEnum
from functools import total_ordering

_FORM = re.compile(r"(day|week|month|year)-([1-9][0-9]{0,8})")


class Unit(StrEnum):
    BEFORE_SURGERY = "baseline"
    DAY = "day"
    WEEK = "week"
    MONTH = "month"
    YEAR = "year"


IN_A_YEAR = {Unit.BEFORE_SURGERY: 1, Unit.DAY: 365, Unit.WEEK: 52, Unit.MONTH: 12, Unit.YEAR: 1}


@total_ordering
@dataclass(frozen=True)
class TimepointCode:
    """`number` is 0 before surgery. `str` gives the code as it is kept, without the attempt. Ordered by time after surgery."""

    unit: Unit
    number: int = 0
    attempt: int = 1

    def __post_init__(self) -> None:
        if self.is_before_surgery != (self.number == 0) or self.number < 0 or self.attempt < 1:
            raise ValueError(f"no timepoint: {self.unit} {self.number}, attempt {self.attempt}")

    @classmethod
    def parse(cls, text: str, attempt: int = 1) -> "TimepointCode":
        """ValueError for anything but `baseline`, `day-N`, `week-N`, `month-N` and `year-N`, N from 1 without leading zeros."""
        if text == Unit.BEFORE_SURGERY:
            return cls(Unit.BEFORE_SURGERY, 0, attempt)
        match = _FORM.fullmatch(text)
        if match is None:
            raise ValueError(f"not the code of a timepoint: {text!r}")
        return cls(Unit(match[1]), int(match[2]), attempt)

    def __str__(self) -> str:
        return str(self.unit) if self.is_before_surgery else f"{self.unit}-{self.number}"

    def __lt__(self, other: "TimepointCode") -> bool:
        return self._place < other._place

    @property
    def _place(self) -> tuple[float, Unit, int]:
        return self.number / IN_A_YEAR[self.unit], self.unit, self.attempt

    @property
    def is_before_surgery(self) -> bool:
        return self.unit == Unit.BEFORE_SURGERY

    @property
    def year(self) -> int | None:
        """The year of an annual timepoint; None for any other."""
        return self.number if self.unit == Unit.YEAR else None

    @property
    def full_years(self) -> int | None:
        """Whole years since surgery, 0 before the first is over; None before surgery."""
        if self.is_before_surgery:
            return None
        return self.number // IN_A_YEAR[self.unit]


BEFORE_SURGERY = TimepointCode(Unit.BEFORE_SURGERY)
