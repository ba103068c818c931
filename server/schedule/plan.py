"""A follow-up plan as data: what is asked when. instruments/README.md describes the format; server.schedule.plan_parsing reads it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Literal

from scoring.data_reader import DataProblem
from server.schedule.dates import anniversary

Base = Literal["surgery", "anniversary"]


@dataclass(frozen=True)
class Part:
    """One instrument of a form, as `id@version`; `items` picks some of its items, None is all of them."""

    instrument: str
    items: tuple[str, ...] | None = None


@dataclass(frozen=True)
class Offset:
    """Days from the surgery date, or from the entry's own anniversary of it."""

    base: Base
    days: int

    def day(self, surgery_on: date, anniversary_on: date) -> date:
        return (surgery_on if self.base == "surgery" else anniversary_on) + timedelta(days=self.days)


@dataclass(frozen=True)
class Window:
    """The days of one timepoint; `closes_on` is the last day that counts as inside."""

    anchor_on: date
    opens_on: date
    invites_on: date
    due_on: date
    closes_on: date


@dataclass(frozen=True)
class BeforeSurgery:
    """The baseline. An answer more than `early_over_days` before surgery is early; due `due_days` after opening."""

    code: str
    title: tuple[tuple[str, str], ...]
    early_over_days: int
    due_days: int
    minutes: int
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class AfterSurgery:
    """One timepoint after surgery; `year` is None for one counted in days."""

    code: str
    title: tuple[tuple[str, str], ...]
    year: int | None
    opens: Offset
    invites: Offset
    due: Offset
    closes: Offset
    minutes: int
    parts: tuple[Part, ...]

    def window(self, surgery_on: date) -> Window:
        at = anniversary(surgery_on, self.year or 0)
        return Window(at, *(offset.day(surgery_on, at) for offset in (self.opens, self.invites, self.due, self.closes)))


@dataclass(frozen=True)
class Plan:
    """`after` is in the order of time. `phone_call` names items as `instrument@version/item`."""

    id: str
    version: str
    title: str
    note: str
    before: BeforeSurgery | None
    after: tuple[AfterSurgery, ...]
    phone_call: tuple[str, ...]

    @property
    def name(self) -> str:
        return f"{self.id}@{self.version}"

    def entries(self) -> Iterator[BeforeSurgery | AfterSurgery]:
        if self.before is not None:
            yield self.before
        yield from self.after

    def entry(self, code: str) -> BeforeSurgery | AfterSurgery:
        """The entry of a timepoint's code; KeyError when the plan has none."""
        for entry in self.entries():
            if entry.code == code:
                return entry
        raise KeyError(code)

    def parts_used(self) -> tuple[Part, ...]:
        """Every distinct part, to be checked against the instruments that exist."""
        return tuple(dict.fromkeys(part for entry in self.entries() for part in entry.parts))


# A leap day and the day after one: the longest and shortest ways from surgery to an anniversary.
_SAMPLES = (date(2000, 2, 29), date(2000, 3, 1), date(2001, 3, 1))


def check_windows(after: tuple[AfterSurgery, ...]) -> None:
    """DataProblem where a window is out of order or overlaps another: an answer must belong to one timepoint."""
    for surgery_on in _SAMPLES:
        windows = [(entry.code, entry.window(surgery_on)) for entry in after]
        for code, w in windows:
            if not surgery_on < w.opens_on <= w.invites_on <= w.due_on <= w.closes_on:
                raise DataProblem(
                    f"plan timepoints {code}", "must go surgery, opens, invites, due, closes in this order"
                )
        for (code, first), (next_code, second) in pairwise(windows):
            if second.opens_on <= first.closes_on:
                raise DataProblem(f"plan timepoints {code} and {next_code}", "their windows overlap")
