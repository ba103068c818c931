"""The silent of one year: who they are by what was known of them before, and what they could make of the result. Pure counting.

Population: of the silence strip (server.outcomes.series.strip) in that year the shoulders at `answered` and at `silent`: alive, unrevised,
taking part, and asked. Nobody who refused enrolment, was never asked or has died is compared or weighted.

Result: whether the patient finds the state acceptable, by their own answer. Three estimates of it:

- complete: those who answered, as they are; it supposes that the silent are like them.
- weighted (server.outcomes.arithmetic.weights): it supposes so of those of whom the same was known before.
- sampled (silence_sampled.py), where lots were cast: it supposes nothing of the kind.

The random quarter stands as silent in the strip whatever it answered once drawn, so the first two are as if nobody had been drawn.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from statistics import fmean

from server.outcomes.arithmetic.proportion import Interval
from server.outcomes.arithmetic.tipping import Tip, tipping_point
from server.outcomes.arithmetic.weighted import Expected, NotWeighted, Weighted
from server.outcomes.figures.fade import SHOWN_FROM
from server.outcomes.series.followed import Followings
from server.outcomes.series.row import Row, people
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.silence_known import KNOWN_BEFORE, Known, known_before, predictors
from server.outcomes.series.silence_sampled import (
    Lots,
    Sampled,
    drawn_answered_well,
    followed,
    lots_of_year,
    sampled_of,
    share_of,
    stated,
)
from server.outcomes.series.strip import Strip, YearPlaces

LIMITS, HALF = "limits", "half"


@dataclass(frozen=True)
class Side:
    """Of how many it is known, the sum over them, and the mean; None of nobody."""

    n: int
    total: float
    mean: float | None


@dataclass(frozen=True)
class Compared:
    name: str
    answered: Side
    silent: Side


@dataclass(frozen=True)
class Silence:
    """One year. `told`: by shoulder, what it said; `unscored`: who answered, but not this question.

    `lots`: all that were cast about the year, those whose window is still open among them; `sampled` is None of these alone.
    """

    places: YearPlaces
    told: Mapping[Row, bool]
    unscored: tuple[Row, ...]
    known: Mapping[Row, Known]
    sampled: Sampled | None
    lots: Lots
    seed: int

    @property
    def year(self) -> int:
        return self.places.year

    @property
    def silent(self) -> tuple[Row, ...]:
        return self.places.rows["silent"]

    @property
    def rows(self) -> tuple[Row, ...]:
        """Whom the estimates are of."""
        return (*self.told, *self.silent)

    @property
    def people(self) -> int:
        return people(self.rows)

    @property
    def yes(self) -> int:
        return sum(self.told.values())

    @cached_property
    def complete(self) -> Interval | None:
        return share_of(self.told)

    @cached_property
    def compared(self) -> tuple[Compared, ...]:
        return tuple(
            Compared(name, self._side(place, self.told), self._side(place, self.silent))
            for place, name in enumerate(KNOWN_BEFORE)
        )

    @cached_property
    def weighted(self) -> Weighted | NotWeighted:
        """What is not known of somebody counts as it is on average among those of whom it is."""
        # numpy is imported when it is needed: a server that starts does not wait for it.
        from server.outcomes.arithmetic.weights import weighted_result

        middle = [self._side(place, self.rows).mean or 0.0 for place in range(len(KNOWN_BEFORE))]
        expected = []
        for row in self.rows:
            yes = self.told.get(row)
            value = None if yes is None else float(yes)
            expected.append(Expected(row.patient_id, value, predictors(self.known[row], middle)))
        return weighted_result(expected, self.seed, share=True)

    @property
    def never_asked(self) -> int:
        """Never asked, or not taking part: in none of the estimates, and yet nobody knows how they are."""
        return self.places.count("never_asked")

    @cached_property
    def tips(self) -> Mapping[str, Tip | None]:
        """How the silent would have to be for the share to leave the limits of those who answered, and to come to a half."""
        return self._tips(len(self.silent))

    @cached_property
    def tips_of_due(self) -> Mapping[str, Tip | None]:
        """The same with those who were never asked, or take no part, counted as silent too; nothing where there are none."""
        return self._tips(len(self.silent) + self.never_asked) if self.never_asked else {}

    def _tips(self, silent: int) -> Mapping[str, Tip | None]:
        if self.complete is None:
            return {}
        lines = {LIMITS: self.complete.lower, HALF: 0.5}
        share, answered = self.complete.estimate, len(self.told)
        return {name: tipping_point(share, answered, silent, line, worst=0) for name, line in lines.items()}

    def failed_sums(self) -> list[tuple[str, int, int]]:
        """Each sum that does not hold: which, what it should be, what it is."""
        sums = [
            ("answered", self.places.count("answered"), len(self.told) + len(self.unscored)),
            ("known", self.places.count("answered") + self.places.count("silent"), len(self.known)),
        ]
        if self.sampled is not None:
            sums.append(("lots", self.sampled.of, self.sampled.counted))
        return [each for each in sums if each[1] != each[2]]

    def _side(self, place: int, rows: Iterable[Row]) -> Side:
        values = [value for row in rows if (value := self.known[row][place]) is not None]
        return Side(len(values), sum(values), fmean(values) if values else None)


def years_to_tell(strip: Strip) -> tuple[int, ...]:
    """In which somebody answered and somebody was silent."""
    return tuple(year.year for year in strip.years if year.count("answered") and year.count("silent"))


def usual_year(followings: Followings, strip: Strip, sentence: Sentence, questions: tuple[str, ...]) -> int | None:
    """A year in which the drawn answered well before all others, since what they say supposes least; then one with answers enough for a
    share; of these the one with the most silent, and of two alike the later."""

    def order(year: YearPlaces) -> tuple[bool, bool, int, int]:
        well = drawn_answered_well(followings, year, sentence, questions)
        return well, year.count("answered") >= SHOWN_FROM, year.count("silent"), year.year

    told = years_to_tell(strip)
    return max((each for each in strip.years if each.year in told), key=order).year if told else None


def silence_of(
    followings: Followings, strip: Strip, sentence: Sentence, questions: tuple[str, ...], year: int
) -> Silence:
    """`questions`: the keys of the patient's yes or no. `year`: one that has come for somebody."""
    places = next(each for each in strip.years if each.year == year)
    told: dict[Row, bool] = {}
    unscored: list[Row] = []
    for row in places.rows["answered"]:
        said = stated(places.answers.get(row), questions)
        if said is None:
            unscored.append(row)
        else:
            told[row] = said
    asked = (*places.rows["answered"], *places.rows["silent"])
    known = {row: known_before(followed(followings, row), year, sentence, questions) for row in asked}
    sampled = sampled_of(followings, places, told, sentence, questions)
    lots = lots_of_year(followings, places)
    return Silence(places, told, tuple(unscored), known, sampled, lots, int(followings.digest[:8], 16))
