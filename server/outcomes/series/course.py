"""The course of a score over the years, of those alive, unrevised and answering at each: what they said, and how sure that is.

Population of a year: the shoulders that stand at `answered` in it (server.outcomes.series.strip), so the first joint alone, never past
a death or a revision. An answer without this score is counted as `unscored`, so observed and unscored are the answered of every year.

Mean with limits by person; median and quartiles; how many stand at the best score, since a ceiling hides who is better still. Shown to
the last year with LEAST observed.

Before surgery counts what was answered then; what was recalled after it stands apart and is in no change. An acute fracture has no
before-and-after: what its patient says before surgery measures the broken arm. Those shoulders are in the course after surgery only.

One version of an instrument is drawn; answers to another version of it are counted (`other_versions`) and never pooled with these.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean, quantiles

from server.outcomes.arithmetic.clustered import MeanLimits, PersonPair, change_limits_by_person, mean_by_person
from server.outcomes.arithmetic.paired import ChangeLimits, PairedChange, paired_change
from server.outcomes.figures.fade import SHOWN_FROM
from server.outcomes.series.followed import Followed, Followings
from server.outcomes.series.row import Row
from server.outcomes.series.strip import Strip
from server.schedule.status import ANSWERED

LEAST = 20  # observed in the last year that is shown, and of pairs for a change that is told
CHANGE_YEARS = (1, 2, 5, 10, 15, 20)
NO_BEFORE = "acute_fracture"
BEFORE, RECALLED = "baseline", "recalled"


@dataclass(frozen=True)
class Measure:
    """One scale of one version of an instrument. `key` as answers have it: `sst@1/total`."""

    key: str
    low: float
    high: float
    higher_is_better: bool

    @property
    def best(self) -> float:
        return self.high if self.higher_is_better else self.low


@dataclass(frozen=True)
class Observed:
    """What was said at one time."""

    limits: MeanLimits
    quartiles: tuple[float, float, float]
    at_best: int

    @property
    def n(self) -> int:
        return self.limits.n

    @property
    def is_told(self) -> bool:
        """Of fewer than ten people only the counts are: the mean of one person is what that person answered."""
        return self.limits.people >= SHOWN_FROM


@dataclass(frozen=True)
class Change:
    """From before surgery to a year, of those with both. `pairs`: for counting by a threshold; `implants`: the implant type of each."""

    year: int
    people: int
    paired: PairedChange
    limits: ChangeLimits
    pairs: tuple[PersonPair, ...]
    implants: tuple[str, ...]

    @property
    def is_told(self) -> bool:
        """Of fewer than ten people only the counts are."""
        return self.people >= SHOWN_FROM


@dataclass(frozen=True)
class Course:
    """`years`: each in which somebody has this score, by its number. `unscored`: by year, how many answered without it.

    `fractures`: shoulders after an acute fracture among those with an answer. `texts`: how many of the answers that are drawn were asked
    in whose words.
    """

    measure: Measure
    before: Observed | None
    recalled: Observed | None
    years: Mapping[int, Observed]
    unscored: Mapping[int, int]
    changes: Mapping[int, Change]
    fractures: int
    texts: Mapping[str, int]
    shoulders: int
    people: int

    @property
    def last(self) -> int | None:
        """The last year that is shown."""
        return max((year for year, each in self.years.items() if each.n >= LEAST), default=None)

    @property
    def shown(self) -> dict[int, Observed]:
        return {year: each for year, each in self.years.items() if self.last is not None and year <= self.last}

    @property
    def too_few(self) -> dict[int, int]:
        """Of the years that readers ask for, those that somebody answered and that are not shown, with how many answered."""
        return {year: self.years[year].n for year in CHANGE_YEARS if year in self.years and year not in self.shown}

    @property
    def told(self) -> Change | None:
        """The change that the page tells: of the last year up to the fifth with enough pairs, or else of the first."""
        known = [change for change in self.changes.values() if change.paired.n >= LEAST]
        return max((each for each in known if each.year <= 5), key=lambda each: each.year, default=None) or next(
            iter(known), None
        )

    def failed_sums(self, strip: Strip) -> list[tuple[int, int, int]]:
        """Each year whose observed and unscored are not those who answered: the year, how many answered, how many there are."""
        failed = []
        for year in strip.years:
            observed = self.years[year.year].n if year.year in self.years else 0
            now = observed + self.unscored.get(year.year, 0)
            if now != year.count("answered"):
                failed.append((year.year, year.count("answered"), now))
        return failed


@dataclass(frozen=True)
class FellSilent:
    """What those said in the year before who then were silent in `year`, and those who went on answering: how many, and their means."""

    year: int
    silent: tuple[int, float]
    answering: tuple[int, float]


Values = list[tuple[Row, float]]
NOBODY: Values = []


@dataclass(frozen=True)
class Said:
    """What those said who stand as answered. `rows`: by year, whose answers these are. `scored`: by scale and year, the scores.

    `alike`: how many answers have the same scales and were asked in the same words.
    """

    rows: Mapping[int, Sequence[Row]]
    scored: Mapping[str, Mapping[int, Values]]
    alike: Mapping[tuple[tuple[str, ...], frozenset[str]], int]

    def values(self, measure: Measure, year: int) -> Values:
        return self.scored.get(measure.key, {}).get(year, NOBODY)


def said_in(strip: Strip) -> Said:
    """Each answer is looked at once for all measures, and all of one shoulder before the next, which lie elsewhere in memory."""
    scored: dict[str, dict[int, Values]] = defaultdict(lambda: defaultdict(list))
    alike: Counter[tuple[tuple[str, ...], frozenset[str]]] = Counter()
    for row, of_years in strip.placed.items():
        for year, (place, answer, _point) in enumerate(of_years, 1):
            if place == "answered" and answer is not None:
                alike[tuple(answer.scores), answer.texts] += 1
                for scale, value in answer.scores.items():
                    scored[scale][year].append((row, value))
    return Said({year.year: year.rows["answered"] for year in strip.years}, scored, alike)


def answers_to(said: Said) -> Counter[str]:
    """How often each scale was answered, so that what was answered most can be drawn."""
    return Counter({scale: sum(map(len, of_year.values())) for scale, of_year in said.scored.items()})


def other_versions(answers: Mapping[str, int], measure: Measure) -> dict[str, int]:
    """How many answers there are to each other version of the same scale. `answers`: by `answers_to`."""
    instrument, scale = measure.key.partition("@")[0], measure.key.partition("/")[2]
    return {
        key: count
        for key, count in sorted(answers.items())
        if key != measure.key and key.startswith(f"{instrument}@") and key.endswith(f"/{scale}")
    }


def course_of(followings: Followings, strip: Strip, said: Said, measure: Measure) -> Course:
    """The course by one measure of whom the strip counts."""
    values = {year: said.values(measure, year) for year in said.rows}
    rows = {row for of_year in values.values() for row, _value in of_year}
    shoulders = [followings.of[row.operation_id or 0] for row in strip.rows if (row.operation_id or 0) in followings.of]
    before = {each.row: value for each in shoulders if (value := _before(each, measure)) is not None}
    observed = {year: _observed(of_year, measure) for year, of_year in values.items()}
    changes = {year: _change(year, values.get(year, []), before) for year in CHANGE_YEARS}
    return Course(
        measure,
        _observed(list(before.items()), measure),
        _observed(_recalled(shoulders, measure), measure),
        {year: each for year, each in observed.items() if each is not None},
        {year: len(rows) - len(values[year]) for year, rows in said.rows.items()},
        {year: change for year, change in changes.items() if change is not None},
        sum(row.diagnosis == NO_BEFORE for row in rows),
        _texts(said, measure),
        len(rows),
        len({row.patient_id for row in rows}),
    )


def fell_silent(said: Said, strip: Strip, measure: Measure) -> FellSilent | None:
    """In the first year with enough of both; None where there is none."""
    for before, now in pairwise(strip.years):
        scores = dict(said.values(measure, before.year))
        silent, answering = (
            [scores[row] for row in now.rows[place] if row in scores] for place in ("silent", "answered")
        )
        if min(len(silent), len(answering)) >= SHOWN_FROM:
            return FellSilent(now.year, (len(silent), fmean(silent)), (len(answering), fmean(answering)))
    return None


def _before(shoulder: Followed, measure: Measure) -> float | None:
    """Whatever way the sentence wants answers after surgery: a state before it is a state."""
    point = shoulder.points.get(BEFORE)
    if shoulder.row.diagnosis == NO_BEFORE or point is None or point.status not in ANSWERED or point.answer is None:
        return None
    return point.answer.scores.get(measure.key)


def _recalled(shoulders: Iterable[Followed], measure: Measure) -> Values:
    points = [(each.row, each.points.get(RECALLED)) for each in shoulders]
    answers = [(row, point.answer) for row, point in points if point is not None and point.answer is not None]
    return [(row, answer.scores[measure.key]) for row, answer in answers if measure.key in answer.scores]


def _observed(values: Values, measure: Measure) -> Observed | None:
    limits = mean_by_person([(row.patient_id, value) for row, value in values])
    if limits is None:
        return None
    scores = [value for _row, value in values]
    return Observed(limits, _quartiles(scores), scores.count(measure.best))


def _quartiles(scores: Sequence[float]) -> tuple[float, float, float]:
    """Between neighbours by their distance (type 7 of Hyndman and Fan), as R and spreadsheets do."""
    if len(scores) == 1:
        return scores[0], scores[0], scores[0]
    low, middle, high = quantiles(scores, n=4, method="inclusive")
    return low, middle, high


def _change(year: int, values: Values, before: Mapping[Row, float]) -> Change | None:
    pairs = tuple(PersonPair(row.patient_id, before[row], value) for row, value in values if row in before)
    if not pairs:
        return None
    change = paired_change([(pair.before, pair.after) for pair in pairs])
    people = len({pair.person for pair in pairs})
    implants = tuple(row.implant_type for row, _value in values if row in before)
    return Change(year, people, change, change_limits_by_person(change, pairs), pairs, implants)


def _texts(said: Said, measure: Measure) -> Counter[str]:
    """How many of the answers that have such a score were asked in whose words."""
    texts: Counter[str] = Counter()
    for (scales, kinds), count in said.alike.items():
        if measure.key in scales:
            texts.update(dict.fromkeys(kinds, count))
    return texts
