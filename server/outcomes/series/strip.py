"""The silence strip: at each year after surgery, what became of every shoulder that the sentence means. Pure counting.

A year has come for a shoulder once the window of its timepoint has closed by the as-of date; until then it is `to_come`, answered or
not, so that whoever answers quickly counts no earlier than whoever does not. A shoulder without that timepoint goes by the window of
the others. When its year has come, a shoulder stands in the first of these places that fits:

- `dead`: the person died before the window closed and had not answered; also of whom the log tells that they died before being asked.
- `revised`: the joint was revised or converted before the window closed, or before the answer if that came earlier.
- `answered`: the patient answered, alone or with help, in the way and the words that the sentence wants, also early or late, while the
  joint was not revised. What the random quarter answers once it is drawn is no answer here: they are the silent of that year, and the
  page about silence says what they answered.
- `never_asked`: nobody reached them about it, or they said no: of those who take part the never asked, those who left, and those whose
  answers were erased; and everybody else who does not take part, of whom the log tells neither death nor revision.
- `silent`: all others. They were asked and gave no answer of their own, or none as the sentence wants it.

The first five add up to those whose year has come, and with `to_come` to those whom the sentence means, at every year.

Two rates: the answered of those who were due, which are answered, silent and never asked; and the answered of all whose year has come,
the dead and the revised among them.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import NamedTuple

from server.outcomes.figures.fade import SHOWN_FROM
from server.outcomes.series.followed import Answer, Followed, Followings, Point
from server.outcomes.series.row import Row
from server.outcomes.series.sentence import Sentence
from server.schedule.dates import anniversary
from server.schedule.status import ANSWERED, Status
from server.schedule.timepoint_code import TimepointCode, Unit

PLACES = ("answered", "silent", "never_asked", "revised", "dead", "to_come")
YEARS = {
    year: str(TimepointCode(Unit.YEAR, year)) for year in range(1, 61)
}  # as far as any plan goes, with their codes
DIED_UNASKED = "died"  # why a line of the log is of nobody enrolled
_NUMBERS = {code: year for year, code in YEARS.items()}


@dataclass(frozen=True)
class Rate:
    """`answered` of `of`, as counts: a rate without them says nothing."""

    answered: int
    of: int


@dataclass(frozen=True)
class YearPlaces:
    """Who stands at which place in one year, by the codes of PLACES, each in the order of the log.

    `answers`: by shoulder what it answered, if anything; also what was answered after a revision, which counts nowhere here.
    """

    year: int
    rows: Mapping[str, tuple[Row, ...]]
    answers: Mapping[Row, Answer] = field(default_factory=dict)

    def count(self, place: str) -> int:
        return len(self.rows[place])

    @property
    def answered(self) -> Mapping[Row, Answer]:
        """What those at `answered` said."""
        return {row: self.answers[row] for row in self.rows["answered"]}

    @property
    def died_unasked(self) -> int:
        """How many of the dead the log alone knows."""
        return sum(row.not_enrolled == DIED_UNASKED for row in self.rows["dead"])

    @property
    def rows_come(self) -> tuple[Row, ...]:
        """Those whose year has come."""
        return tuple(row for place in PLACES[:-1] for row in self.rows[place])

    @property
    def come(self) -> int:
        return sum(self.count(place) for place in PLACES[:-1])

    @property
    def of_due(self) -> Rate:
        return Rate(self.count("answered"), sum(self.count(place) for place in ("answered", "silent", "never_asked")))

    @property
    def of_all(self) -> Rate:
        return Rate(self.count("answered"), self.come)


class Placed(NamedTuple):
    """One shoulder in one year that has come for it. `point`: the timepoint of that year, where one is planned."""

    place: str
    answer: Answer | None
    point: Point | None


@dataclass(frozen=True)
class Strip:
    """`meant`: how many shoulders the sentence means. `years`: from the first to the last that has come for anybody.

    `whole_ends`: the last year that a figure of the whole series has, known where the sentence means too few to end one by themselves.
    `placed`: the same as `years` by shoulder, from year 1 to the last that has come for it.
    """

    meant: int
    years: tuple[YearPlaces, ...]
    whole_ends: int | None = None
    placed: Mapping[Row, tuple[Placed, ...]] = field(default_factory=dict)

    @property
    def rows(self) -> Iterator[Row]:
        """Every shoulder that is meant; nobody before a year has come."""
        return (row for rows in self.years[0].rows.values() for row in rows) if self.years else iter(())

    def answered(self, year: int) -> Mapping[Row, Answer]:
        """What those answered who stand as answered in that year; of nobody before it has come."""
        places = next((each for each in self.years if each.year == year), None)
        return {} if places is None else places.answered

    @property
    def of_due(self) -> Rate:
        """Over all years: forms answered of forms due."""
        return _sum(year.of_due for year in self.years)

    @property
    def of_all(self) -> Rate:
        return _sum(year.of_all for year in self.years)

    @property
    def shown(self) -> tuple[YearPlaces, ...]:
        """The years that a figure has: those that have come for at least ten, or those of the whole series where none has for so many."""
        of_ten = tuple(year for year in self.years if year.come >= SHOWN_FROM)
        return of_ten or tuple(year for year in self.years if self.whole_ends is None or year.year <= self.whole_ends)

    @property
    def answered_later(self) -> int:
        """How many answers lie behind the end of the figure."""
        return sum(year.count("answered") for year in self.years[len(self.shown) :])

    def failed_sums(self) -> list[tuple[int, int, int]]:
        """Each year whose places do not hold every shoulder once: the year, how many are meant, how many there are."""
        failed = []
        for year in self.years:
            rows = [row for place in PLACES for row in year.rows[place]]
            if len(rows) != self.meant or len(set(rows)) != self.meant:
                failed.append((year.year, self.meant, len(set(rows))))
        return failed


def strip_of(followings: Followings, meant: Iterable[Row], sentence: Sentence) -> Strip:
    """`meant`: the rows of the flow at that step."""
    rows = tuple(meant)
    few = len(rows) < SHOWN_FROM <= len(followings.record.rows)
    whole = strip_of(followings, followings.record.rows, sentence).shown if few else ()
    windows = longest_windows(followings)
    placed = {row: placed_in(followings, row, sentence, windows) for row in rows}
    return Strip(len(rows), _years(placed), whole[-1].year if whole else None, placed)


def _years(placed: Mapping[Row, tuple[Placed, ...]]) -> tuple[YearPlaces, ...]:
    """All years of one shoulder before the next, whose answers lie elsewhere in memory."""
    last = max(map(len, placed.values()), default=0)
    rows: list[dict[str, list[Row]]] = [{place: [] for place in PLACES} for _year in range(last)]
    answers: list[dict[Row, Answer]] = [{} for _year in range(last)]
    for row, of_years in placed.items():
        for each, rows_at, answers_at in zip(of_years, rows, answers, strict=False):
            rows_at[each.place].append(row)
            if each.answer is not None:
                answers_at[row] = each.answer
        for rows_at in rows[len(of_years) :]:
            rows_at["to_come"].append(row)
    return tuple(
        YearPlaces(year, {place: tuple(found) for place, found in rows_at.items()}, answers_at)
        for year, (rows_at, answers_at) in enumerate(zip(rows, answers, strict=True), 1)
    )


def placed_in(
    followings: Followings, row: Row, sentence: Sentence, windows: Mapping[int, timedelta]
) -> tuple[Placed, ...]:
    """A shoulder in each year that has come for it, from the first on. `windows`: by `longest_windows`."""
    as_of = followings.record.as_of
    shoulder = followings.of.get(row.operation_id or 0) if row.takes_part else None
    surgery_on = row.surgery_on if shoulder is None else shoulder.surgery.on
    unfollowed = "dead" if row.not_enrolled == DIED_UNASKED else "never_asked"
    found: list[Placed] = []
    for year, code in YEARS.items():
        point = None if shoulder is None else shoulder.points.get(code)
        closes_on = None if point is None else point.closes_on
        if closes_on is None:
            closes_on = anniversary(surgery_on, year) + windows[year]
        if as_of <= closes_on:
            break
        answer = None if point is None else wanted_answer(point, sentence)
        place = unfollowed if shoulder is None else place_in_window(shoulder, point, answer, closes_on)
        found.append(Placed(place, answer, point))
    return tuple(found)


def place_in_window(shoulder: Followed, point: Point | None, answer: Answer | None, closes_on: date) -> str:
    """Of a window that has closed. `answer`: by `wanted_answer`."""
    if answer is None and shoulder.died is not None and shoulder.died.on <= closes_on:
        return "dead"
    revised = shoulder.revised
    if revised is not None and revised.on <= (closes_on if answer is None else min(answer.on, closes_on)):
        return "revised"
    if answer is not None and (revised is None or answer.on < revised.on):
        return "answered"
    return "silent" if point is not None and _was_asked(point) else "never_asked"


def wanted_answer(point: Point, sentence: Sentence) -> Answer | None:
    """The patient's own answer, unless the sentence wants another way or other words, or the random quarter was drawn by then."""
    answer = point.answer
    if answer is None or point.status not in ANSWERED or point.by_other or point.erased:
        return None
    if point.drawn_on is not None and point.drawn_on <= answer.on:
        return None
    fits = not sentence.mode or answer.mode in sentence.mode
    return answer if fits and (not sentence.text or set(sentence.text) & answer.texts) else None


def longest_windows(followings: Followings) -> dict[int, timedelta]:
    """By year, how long after it the last window among the followed closes; where nobody has one, as in the year before."""
    known: dict[int, timedelta] = {}
    for shoulder in followings.of.values():
        for code, point in shoulder.points.items():
            year = _NUMBERS.get(code)
            if year is not None and point.closes_on is not None:
                window = point.closes_on - anniversary(shoulder.surgery.on, year)
                known[year] = max(window, known.get(year, window))
    found = {0: timedelta()}
    for year in YEARS:
        found[year] = known.get(year, found[year - 1])
    return found


def _was_asked(point: Point) -> bool:
    return not point.erased and (point.status in ANSWERED or point.status == Status.MISSED)


def _sum(rates: Iterable[Rate]) -> Rate:
    found = tuple(rates)
    return Rate(sum(rate.answered for rate in found), sum(rate.of for rate in found))
