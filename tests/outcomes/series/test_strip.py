"""The silence strip: at every year each shoulder that is meant stands in one place, and the places add up."""

import random
from datetime import date, timedelta
from typing import Any

import pytest

from server.outcomes.series.followed import Followed, Point
from server.outcomes.series.row import Row
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import PLACES, Rate, Strip, YearPlaces, strip_of
from server.schedule.status import Status
from tests.outcomes.series.followed_case import SURGERY, TODAY, answered, followings, later, line, point, row, shoulder

YEAR_1, YEAR_2 = date(2016, 3, 1), date(2017, 3, 1)
SILENT = point(1)


def strip(
    *shoulders: Followed, others: tuple[Row, ...] = (), sentence: Sentence | None = None, as_of: date = TODAY
) -> Strip:
    read = followings(shoulders, *others, as_of=as_of)
    return strip_of(read, read.record.rows, sentence or Sentence())


def counts(year: YearPlaces) -> dict[str, int]:
    return {place: year.count(place) for place in PLACES if year.count(place)}


def in_year_1(*points: Point, sentence: Sentence | None = None, died: date | None = None, **values: Any) -> str:
    ((place, number),) = counts(strip(shoulder(*points, died=died, **values), sentence=sentence).years[0]).items()
    assert number == 1
    return place


def test_an_empty_series_has_no_year() -> None:
    found = strip()
    assert (found.meant, found.years, found.failed_sums(), found.of_due) == (0, (), [], Rate(0, 0))


def test_the_years_end_with_the_last_that_has_come_for_anybody() -> None:
    young = shoulder(answered(1, surgery_on=date(2025, 1, 1)), surgery_on=date(2025, 1, 1))
    found = strip(shoulder(answered(1), answered(2)), young)
    assert [year.year for year in found.years] == list(range(1, 12))
    assert [counts(year) for year in found.years[:3]] == [
        {"answered": 2}, {"answered": 1, "to_come": 1}, {"never_asked": 1, "to_come": 1},
    ]  # fmt: skip


def test_few_shoulders_end_their_axis_where_the_whole_series_does_and_what_lies_behind_it_is_counted() -> None:
    young = [shoulder(answered(1, surgery_on=date(2025, 1, 1)), surgery_on=date(2025, 1, 1)) for _each in range(9)]
    old = shoulder(answered(1), answered(2), answered(9))
    read = followings([old, *young])
    whole = strip_of(read, read.record.rows, Sentence())
    one = strip_of(read, [old.row], Sentence())
    assert [year.year for year in whole.shown] == [year.year for year in one.shown] == [1]
    assert (len(one.years), one.answered_later, whole.answered_later) == (11, 2, 2)


@pytest.mark.parametrize(
    ("values", "place"),
    [
        ({"status": Status.MISSED}, "silent"),
        ({"status": Status.NEVER_ASKED}, "never_asked"),
        ({"status": Status.NOT_EXPECTED}, "never_asked"),
        ({"status": Status.ANSWERED, "by_other": True}, "silent"),
        ({"status": Status.ANSWERED, "erased": True}, "never_asked"),
    ],
)
def test_without_an_answer_of_their_own_they_were_asked_or_they_were_not(values: dict[str, Any], place: str) -> None:
    assert in_year_1(SILENT._replace(**values)) == place


def test_a_shoulder_without_that_timepoint_was_never_asked_once_the_window_of_the_others_has_closed() -> None:
    bare, other = shoulder(), shoulder(SILENT)
    assert counts(strip(bare, other, as_of=YEAR_1 + timedelta(days=91)).years[0]) == {"silent": 1, "never_asked": 1}
    assert strip(bare, other, as_of=YEAR_1 + timedelta(days=90)).years == ()


def test_an_open_window_is_to_come_whether_answered_or_not() -> None:
    closed = shoulder(point(1, surgery_on=date(2010, 1, 1)), surgery_on=date(2010, 1, 1))
    found = strip(shoulder(answered(1)), shoulder(SILENT._replace(status=Status.OPEN)), closed, as_of=YEAR_1)
    assert counts(found.years[0]) == {"silent": 1, "to_come": 2}
    assert found.years[0].of_due == Rate(0, 1)


def test_early_and_late_answers_count() -> None:
    assert in_year_1(answered(1, on=date(2015, 11, 1))._replace(status=Status.EARLY)) == "answered"
    assert in_year_1(answered(1, on=date(2016, 9, 1))._replace(status=Status.LATE)) == "answered"


def test_an_answer_after_the_end_changes_nothing() -> None:
    assert in_year_1(answered(1)._replace(status=Status.NOT_EXPECTED)) == "never_asked"


def test_the_dead_are_dead_whatever_was_revised_before() -> None:
    assert in_year_1(SILENT._replace(status=Status.NOT_EXPECTED), died=date(2016, 1, 1)) == "dead"
    assert in_year_1(SILENT, died=date(2016, 1, 1), later=(later(date(2015, 8, 1)),)) == "dead"
    assert in_year_1(SILENT, died=date(2016, 5, 30)) == "dead"
    assert in_year_1(SILENT, died=date(2016, 5, 31)) == "silent"
    assert in_year_1(answered(1), died=date(2016, 3, 2)) == "answered"


def test_revised_is_whoever_was_so_before_the_answer_or_the_end_of_the_window() -> None:
    assert in_year_1(answered(1), later=(later(YEAR_1),)) == "revised"
    assert in_year_1(answered(1), later=(later(YEAR_1 + timedelta(days=1)),)) == "answered"
    assert in_year_1(SILENT, later=(later(date(2016, 5, 30)),)) == "revised"
    assert in_year_1(SILENT, later=(later(date(2016, 5, 31)),)) == "silent"
    assert in_year_1(answered(1), later=(later(YEAR_1, "other"),)) == "answered"
    assert in_year_1(answered(1), later=(later(YEAR_1, "conversion", exchanges=False),)) == "revised"


def test_a_late_answer_after_a_revision_says_nothing_of_the_unrevised_joint() -> None:
    late = answered(1, on=date(2016, 9, 1))._replace(status=Status.LATE)
    assert in_year_1(late, later=(later(date(2016, 8, 1)),)) == "silent"


def test_only_answers_as_the_sentence_wants_them_count() -> None:
    by_phone, licensed = Sentence(mode=("telephone",)), Sentence(text=("licensed",))
    assert in_year_1(answered(1), sentence=by_phone) == "silent"
    assert in_year_1(answered(1, mode="telephone"), sentence=by_phone) == "answered"
    assert in_year_1(answered(1), sentence=licensed) == "silent"
    assert in_year_1(answered(1, texts={"licensed", "descriptive"}), sentence=licensed) == "answered"


def test_what_the_random_quarter_answers_once_drawn_is_no_answer_of_that_year() -> None:
    drawn = answered(1)._replace(drawn_on=YEAR_1, probability=0.25)
    assert in_year_1(drawn) == "silent"
    assert in_year_1(drawn._replace(drawn_on=YEAR_1 + timedelta(days=1))) == "answered"


def test_who_does_not_take_part_counts_as_never_asked_or_declined_once_their_year_has_come() -> None:
    others = (line(), row(consent="withdrawn"), line(surgery_on=date(2026, 1, 1)))
    found = strip(shoulder(answered(1)), others=others)
    assert counts(found.years[0]) == {"answered": 1, "never_asked": 2, "to_come": 1}
    assert (found.years[0].of_due, found.years[0].of_all) == (Rate(1, 3), Rate(1, 3))


def test_of_whom_the_log_tells_that_they_died_before_being_asked_is_dead_and_not_due() -> None:
    found = strip(shoulder(answered(1)), others=(line(not_enrolled="died"), line()))
    assert counts(found.years[0]) == {"answered": 1, "never_asked": 1, "dead": 1} and found.failed_sums() == []
    assert (found.years[0].of_due, found.years[0].of_all) == (Rate(1, 2), Rate(1, 3))
    assert [year.died_unasked for year in found.years] == [1] * len(found.years)
    young = strip(shoulder(answered(1)), others=(line(not_enrolled="died", surgery_on=TODAY),))
    assert counts(young.years[0]) == {"answered": 1, "to_come": 1}


def test_the_two_rates_differ_by_the_dead_and_the_revised() -> None:
    found = strip(
        shoulder(answered(1)), shoulder(SILENT), shoulder(SILENT, died=SURGERY), shoulder(SILENT, later=(later(SURGERY),)),
        as_of=date(2016, 12, 1),
    )  # fmt: skip
    (year,) = found.years
    assert (year.of_due, year.of_all, year.come) == (Rate(1, 2), Rate(1, 4), 4)
    assert (found.of_due, found.of_all) == (Rate(1, 2), Rate(1, 4))


def test_a_shoulder_that_is_nowhere_or_twice_fails_the_sum() -> None:
    one, two = row(), row()
    nobody: dict[str, tuple[Row, ...]] = dict.fromkeys(PLACES, ())
    whole = YearPlaces(1, {**nobody, "answered": (one,), "dead": (two,)})
    assert Strip(2, (whole,)).failed_sums() == []
    assert Strip(3, (whole,)).failed_sums() == [(1, 3, 2)]
    assert Strip(2, (whole, YearPlaces(2, {**nobody, "answered": (one,), "dead": (one,)}))).failed_sums() == [(2, 2, 1)]


@pytest.mark.parametrize("seed", range(10))
def test_every_sum_holds_whatever_happened(seed: int) -> None:
    chance = random.Random(seed)

    def day() -> date:
        return SURGERY + timedelta(days=chance.randint(0, 4000))

    def one() -> Followed:
        points = [
            chance.choice([point(k), answered(k), point(k, Status.NEVER_ASKED)])
            for k in range(1, chance.randint(2, 12))
        ]
        revisions = tuple(later(day(), chance.choice(["revision", "other"])) for _each in range(chance.randint(0, 2)))
        return shoulder(*points, died=chance.choice([None, day()]), later=revisions)

    found = strip(*(one() for _each in range(30)), others=(line(), line(surgery_on=day())))
    assert found.failed_sums() == []
    assert found.years and {year.come + year.count("to_come") for year in found.years} == {32}
