"""A life table: how many of a population die in a year, by sex and age, and if wanted by calendar year.

A CSV with the columns sex (female, male), age (whole years) and one of qx (the probability of dying within a year) or rate (deaths per
person-year), and if wanted year. In each year both sexes have every age from the first to the last. A year that the table does not have
goes by the nearest that it has, and an age above its last by its last.
"""

import re
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from math import log1p

from server.outcomes.arithmetic.table import Row, Table, TableProblem, decimal, only_columns, read_table

SEXES = ("female", "male")
NEEDED = ("sex", "age")
OLDEST, LATEST = 130, 2199
MOST_RATE = 10.0  # deaths per person-year; more is a table of another unit
NO_YEAR = 0


@dataclass(frozen=True)
class LifeTable:
    """`rates`: deaths per person-year by calendar year and sex, from `first_age` on. `years`: NO_YEAR alone where it names none."""

    years: tuple[int, ...]
    first_age: int
    rates: Mapping[tuple[int, str], tuple[float, ...]]

    @property
    def last_age(self) -> int:
        return self.first_age + len(next(iter(self.rates.values()))) - 1

    def rate(self, sex: str, age: int, year: int) -> float | None:
        """None for a sex that no table has, or an age below its first."""
        rates = self.rates.get((self._nearest(year), sex))
        if rates is None or age < self.first_age:
            return None
        return rates[min(age - self.first_age, len(rates) - 1)]

    def _nearest(self, year: int) -> int:
        """Of two that are as near, the earlier one."""
        steps = range(len(self.years) - 1)
        return self.years[bisect_left(steps, 2 * year, key=lambda place: self.years[place] + self.years[place + 1])]


def read_life_table(csv_text: str) -> LifeTable:
    """Raises TableProblem, with the line, for whatever is no life table."""
    table = read_table(csv_text, NEEDED)
    kind = _kind(table)
    only_columns(table, (*NEEDED, kind), ("year",))
    if not table.rows:
        raise TableProblem("the file names its columns and has no row under them")
    by_year = "year" in table.header
    found: dict[tuple[int, str], dict[int, float]] = defaultdict(dict)
    for row in table.rows:
        sex, age = _sex(row), _whole(row, "age", 0, OLDEST)
        year = _whole(row, "year", 1800, LATEST) if by_year else NO_YEAR
        ages = found[year, sex]
        if age in ages:
            raise TableProblem(f"line {row.line}: {_whom(sex, year)} have age {age} a second time")
        ages[age] = _rate(row, kind)
    return _complete(found)


def _kind(table: Table) -> str:
    kinds = [name for name in ("qx", "rate") if name in table.header]
    if len(kinds) != 1:
        raise TableProblem(
            "the first line must name one of the columns qx, the probability of dying within a year, or rate, deaths per"
            f" person-year; it names {'both' if kinds else 'neither'}"
        )
    return kinds.pop()


def _sex(row: Row) -> str:
    sex = row.cells["sex"].lower()
    if sex not in SEXES:
        raise TableProblem(f"line {row.line}: sex is {row.cells['sex']!a:.40}; it must be female or male")
    return sex


def _whole(row: Row, name: str, least: int, most: int) -> int:
    text = row.cells[name]
    if not re.fullmatch("[0-9]{1,4}", text) or not least <= int(text) <= most:
        raise TableProblem(f"line {row.line}: {name} is {text!a:.40}; it must be a whole number from {least} to {most}")
    return int(text)


def _rate(row: Row, kind: str) -> float:
    """Deaths per person-year; qx is read as the share that a steady rate takes in a year."""
    text = row.cells[kind]
    value = decimal(text) if text else None
    if value is None or value < 0:
        raise TableProblem(
            f"line {row.line}: {kind} is {text!a:.40}; it must be a number of 0 or more, with a decimal point"
        )
    if kind == "rate":
        if value > MOST_RATE:
            raise TableProblem(
                f"line {row.line}: rate is {value:g}; deaths per person-year, so a table per 1,000 has to be divided by 1,000"
            )
        return value
    if value > 1:
        raise TableProblem(
            f"line {row.line}: qx is {value:g}; a probability is at most 1, so a table per 1,000 has to be divided by 1,000"
        )
    return MOST_RATE if value == 1 else min(MOST_RATE, -log1p(-value))


def _complete(found: Mapping[tuple[int, str], Mapping[int, float]]) -> LifeTable:
    years = tuple(sorted({year for year, _sex_of in found}))
    spans = {key: (min(ages), max(ages)) for key, ages in found.items()}
    first, last = spans[min(spans)]
    rates: dict[tuple[int, str], tuple[float, ...]] = {}
    for key in [(year, sex) for year in years for sex in SEXES]:
        ages = found.get(key, {})
        missing = next((age for age in range(first, last + 1) if age not in ages), None)
        if missing is not None:
            raise TableProblem(
                f"{_whom(key[1], key[0])} have no age {missing}; every one needs each age from {first} to {last}"
            )
        if spans[key] != (first, last):
            raise TableProblem(
                f"{_whom(key[1], key[0])} have ages {spans[key][0]} to {spans[key][1]}, others {first} to {last}; all need the same"
            )
        rates[key] = tuple(ages[age] for age in range(first, last + 1))
    if all(rate == 0 for each in rates.values() for rate in each):
        raise TableProblem("nobody dies in this table: every value is 0")
    return LifeTable(years, first, rates)


def _whom(sex: str, year: int) -> str:
    people = {"female": "women", "male": "men"}[sex]
    return people if year == NO_YEAR else f"{people} of {year}"
