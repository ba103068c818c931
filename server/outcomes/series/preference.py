"""Who has both shoulders operated on, each with another type of implant, and which of the two they prefer. A person counts once.

Compared within the person, so that age, health and temper are the same on both sides; which was operated on last is not, and is told.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from statistics import median
from typing import NamedTuple

from server.fields.operation_words import IMPLANT_TYPES
from server.outcomes.arithmetic.paired import ChangeLimits, PairedChange, change_limits, paired_change
from server.outcomes.arithmetic.preference import MOST, Share, clopper_pearson, exact_p
from server.outcomes.figures.fade import SHOWN_FROM
from server.outcomes.series.followed import Followed
from server.outcomes.series.sentence import NOT_RECORDED, Sentence
from server.outcomes.series.strip import wanted_answer
from server.schedule.dates import anniversary

SIDES = ("left", "right")
NO_DIFFERENCE = "no_difference"
UNTOLD = ("other", "unknown", NOT_RECORDED)  # no type of implant that two sides could differ in
# How each person of a pair of types answered, the first that is so. `first` and `second`: the side with that type of the pair.
ANSWERS = ("revised", "erased", "unasked", "unanswered", NO_DIFFERENCE, "first", "second")
DRAWN = ("first", NO_DIFFERENCE, "second", "unanswered")
OWN_RATING = ("sane", "sane")  # instrument and scale
Types = tuple[str, str]


@dataclass(frozen=True)
class Told:
    """What a person last answered to which shoulder they prefer, and when. `prefers`: a side, or no_difference; None: it was asked and
    left open each time. `readable`: False where no answer could be read."""

    on: date | None
    prefers: str | None
    readable: bool = True


@dataclass(frozen=True)
class Person:
    """Of a pair of types; `first` and `second` are the shoulders that carry them. `answer`: one of ANSWERS.

    `ratings`: the latest own rating of each, a year or more after surgery; None where one of them has none, or
    they were asked in two versions.
    """

    first: Followed
    second: Followed
    answer: str
    on: date | None
    ratings: tuple[float, float] | None

    @property
    def later(self) -> str | None:
        """Which was operated on last; None: both on one day."""
        days = self.first.surgery.on, self.second.surgery.on
        return None if days[0] == days[1] else "second" if days[0] < days[1] else "first"

    def years_since(self) -> tuple[float, float] | None:
        """From each operation to the answer."""
        if self.on is None:
            return None
        return (self.on - self.first.surgery.on).days / 365.25, (self.on - self.second.surgery.on).days / 365.25


class Both(NamedTuple):
    """One person's shoulders."""

    left: Followed
    right: Followed

    @property
    def patient_id(self) -> int:
        return self.left.row.patient_id or 0


@dataclass(frozen=True)
class Pair:
    """Everybody with this pair of types."""

    types: Types
    people: tuple[Person, ...]

    def of(self, *answers: str) -> tuple[Person, ...]:
        return tuple(each for each in self.people if each.answer in answers)

    def count(self, *answers: str) -> int:
        return len(self.of(*answers))

    @property
    def with_preference(self) -> int:
        return self.count("first", "second")

    @property
    def share(self) -> Share | None:
        """Of those with a preference, who prefers the second type; None where they are too few to be drawn, or too many to compute."""
        if not SHOWN_FROM <= self.with_preference <= MOST:
            return None
        return clopper_pearson(self.count("second"), self.with_preference)

    @property
    def p(self) -> float | None:
        return None if self.share is None else exact_p(self.count("first"), self.count("second"))

    @property
    def rated(self) -> list[tuple[float, float]]:
        """Both ratings of everybody drawn who rated both."""
        return [each.ratings for each in self.of(*DRAWN) if each.ratings is not None]

    @property
    def ratings(self) -> tuple[PairedChange, ChangeLimits] | None:
        """How much more the second is rated than the first, within the person; None with fewer than ten people."""
        pairs = self.rated
        if len(pairs) < SHOWN_FROM:
            return None
        found = paired_change(pairs)
        return found, change_limits(found)

    @property
    def prefer_the_later(self) -> tuple[int, int]:
        """How many prefer the shoulder that was operated on last, of how many with a preference who have one."""
        told = [each for each in self.of("first", "second") if each.later is not None]
        return sum(each.answer == each.later for each in told), len(told)

    @property
    def years_since(self) -> tuple[float, float] | None:
        """The median of each, at the answers of those who answered."""
        years = [
            found for each in self.of("first", NO_DIFFERENCE, "second") if (found := each.years_since()) is not None
        ]
        return (median(each[0] for each in years), median(each[1] for each in years)) if years else None


@dataclass(frozen=True)
class Preference:
    """`both`: people with both shoulders; of them `same`: with one type on both sides, `untold`: with a type that is not told, and the
    rest by their pair of types, the most frequent first."""

    both: int
    same: int
    untold: int
    pairs: tuple[Pair, ...]

    def failed_sums(self) -> list[tuple[str, int, int]]:
        """What should be equal and is not: its name, what there is, and what its parts make."""
        found = [("both", self.both, self.same + self.untold + sum(len(pair.people) for pair in self.pairs))]
        found += [("pair", len(pair.people), sum(pair.count(answer) for answer in ANSWERS)) for pair in self.pairs]
        return [each for each in found if each[1] != each[2]]


def both_shoulders(followed: Iterable[Followed]) -> list[Both]:
    """People with a first operation on either side; of several on one side the first."""
    by_person: dict[int, dict[str, Followed]] = {}
    for each in sorted(followed, key=lambda one: (one.row.patient_id or 0, one.surgery.on)):
        by_person.setdefault(each.row.patient_id or 0, {}).setdefault(each.row.side, each)
    return [Both(sides["left"], sides["right"]) for sides in by_person.values() if set(SIDES) <= set(sides)]


def preference_of(people: Iterable[Both], told: Mapping[int, Told], sentence: Sentence, as_of: date) -> Preference:
    """`told`: by patient; who is not in it was asked in no form that came back and that the sentence wants."""
    order = list(IMPLANT_TYPES)
    same = untold = 0
    pairs: dict[Types, list[Person]] = {}
    for both in people:
        types = both.left.row.implant_type, both.right.row.implant_type
        if set(types) & set(UNTOLD):
            untold += 1
        elif types[0] == types[1]:
            same += 1
        else:
            first, second = sorted(both, key=lambda each: order.index(each.row.implant_type))
            person = _person(first, second, told.get(both.patient_id), sentence, as_of)
            pairs.setdefault((first.row.implant_type, second.row.implant_type), []).append(person)
    ordered = sorted(pairs.items(), key=lambda found: (-len(found[1]), [order.index(each) for each in found[0]]))
    found = tuple(Pair(types, tuple(of_it)) for types, of_it in ordered)
    return Preference(same + untold + sum(len(pair.people) for pair in found), same, untold, found)


def _person(first: Followed, second: Followed, told: Told | None, sentence: Sentence, as_of: date) -> Person:
    on = told.on if told is not None else None
    one, other = _own_rating(first, sentence), _own_rating(second, sentence)
    # By two versions of the question the two are not compared.
    ratings = (one[1], other[1]) if one is not None and other is not None and one[0] == other[0] else None
    return Person(first, second, _answer(first, second, told, on or as_of), on, ratings)


def _answer(first: Followed, second: Followed, told: Told | None, by: date) -> str:
    """By that day: an implant that was revised is no longer the one of which it is asked."""
    if any(later.ends_the_first and later.day.on <= by for each in (first, second) for later in each.later):
        return "revised"
    if told is None:
        return "unasked"
    if not told.readable:
        return "erased"
    if told.prefers is None or told.prefers == NO_DIFFERENCE:
        return told.prefers or "unanswered"
    return "first" if first.row.side == told.prefers else "second"


def _own_rating(shoulder: Followed, sentence: Sentence) -> tuple[str, float] | None:
    """The latest, a year or more after surgery, with the version that asked."""
    instrument, scale = OWN_RATING
    since = anniversary(shoulder.surgery.on, 1)
    answers = [answer for point in shoulder.points.values() if (answer := wanted_answer(point, sentence)) is not None]
    rated = [
        (answer.on, key, value)
        for answer in answers
        if answer.on >= since
        for key, value in answer.scores.items()
        if key.startswith(f"{instrument}@") and key.endswith(f"/{scale}")
    ]
    return max(rated)[1:] if rated else None
