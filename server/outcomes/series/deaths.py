"""Observed against expected deaths: person-time to the as-of day by a life table, elective operations and fractures apart.

Each person counts once, from the day on which their first shoulder of the series was watched, with all person-time after it: who is not
known to be dead is taken to live. So a death that nobody told the clinic lowers the ratio, and that is said where it is small. Only the
year of birth is told of a person, who is taken to be born on 1 July of it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from server.outcomes.arithmetic.life_table import LifeTable
from server.outcomes.arithmetic.poisson import poisson_limits
from server.outcomes.series.followed import Followed
from server.outcomes.series.watch import DAYS_A_YEAR

ELECTIVE, FRACTURE = "elective", "fracture"
FRACTURES = ("acute_fracture",)
FEW_EXPECTED = (
    3  # from three on a ratio may be looked at; of one or two expected a single death more or less doubles it
)
SMALL_RATIO = 0.5


@dataclass(frozen=True)
class Expectation:
    """Of one group: how many people and years, how many died and were expected to. `untold`: people whose age or sex the table has not."""

    group: str
    people: int
    years: float
    observed: int
    expected: float
    untold: int

    @property
    def ratio(self) -> tuple[float, float, float] | None:
        """Observed to expected with exact Poisson limits; None where too few were expected to judge."""
        if self.expected < FEW_EXPECTED:
            return None
        lower, upper = poisson_limits(self.observed)
        return self.observed / self.expected, lower / self.expected, upper / self.expected

    @property
    def seems_incomplete(self) -> bool:
        """Whether even the upper limit lies under a half: deaths may be missing, or these people are healthier than the table's."""
        return self.ratio is not None and self.ratio[2] < SMALL_RATIO


def expectations(followed: Iterable[Followed], table: LifeTable, as_of: date) -> tuple[Expectation, ...]:
    """The elective first, then the fractures; a group with nobody in it is left out."""
    first: dict[int | None, Followed] = {}
    for each in sorted(followed, key=lambda one: (one.surgery.on, one.row.operation_id or 0)):
        first.setdefault(each.row.patient_id, each)
    groups: dict[str, list[Followed]] = {ELECTIVE: [], FRACTURE: []}
    for each in first.values():
        groups[FRACTURE if each.row.diagnosis in FRACTURES else ELECTIVE].append(each)
    return tuple(_expectation(group, people, table, as_of) for group, people in groups.items() if people)


def _expectation(group: str, people: list[Followed], table: LifeTable, as_of: date) -> Expectation:
    years, observed, expected, told, untold = 0.0, 0, 0.0, 0, 0
    for person in people:
        ends_on = as_of if person.died is None else min(person.died.on, as_of)
        if ends_on < person.watched_from:
            continue  # dead before the watch began
        by_table = _expected(person, table, ends_on)
        if by_table is None:
            untold += 1
            continue
        told += 1
        expected += by_table
        years += (ends_on - person.watched_from).days / DAYS_A_YEAR
        observed += person.died is not None and person.died.on <= as_of
    return Expectation(group, told, years, observed, expected, untold)


def _expected(person: Followed, table: LifeTable, ends_on: date) -> float | None:
    """The deaths that the table expects of one person; None where it does not tell."""
    row = person.row
    if row.age is None or row.sex is None:
        return None
    born_on = date(row.surgery_on.year - row.age, 7, 1)
    total = 0.0
    for since, until in _stretches(person.watched_from, ends_on):
        age = since.year - born_on.year - ((since.month, since.day) < (7, 1))
        rate = table.rate(row.sex, max(0, age), since.year)
        if rate is None:
            return None
        total += rate * (until - since).days / DAYS_A_YEAR
    return total


def _stretches(since: date, until: date) -> Iterator[tuple[date, date]]:
    """The time between two days, cut where the calendar year and where the age changes."""
    while since < until:
        following = date(since.year, 7, 1) if since.month < 7 else date(since.year + 1, 1, 1)
        yield since, min(following, until)
        since = following
