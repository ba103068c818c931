"""The silent of one year against those who answered, and what they could make of the result."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from server.outcomes.arithmetic.double_sampling import Lot, Told, double_sampled
from server.outcomes.arithmetic.proportion import wilson
from server.outcomes.arithmetic.weighted import NotWeighted, Weighted
from server.outcomes.series.followed import Followed, Point
from server.outcomes.series.row import Row
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.silence import Silence, silence_of, usual_year, years_to_tell
from server.outcomes.series.strip import strip_of
from server.schedule.status import Status
from tests.outcomes.series.followed_case import (
    SURGERY,
    answered,
    before_surgery,
    followings,
    line,
    point,
    row,
    shoulder,
)

QUESTIONS = ("pass@1/acceptable",)
YEAR_2 = date(2017, 3, 1)
LOT_ON = YEAR_2 + timedelta(days=60)


def said(year: int, yes: bool, **values: Any) -> Point:
    return answered(year, **{QUESTIONS[0]: yes, **values})


def cast(drawn: bool = False, answer: bool | None = None, year: int = 2) -> Point:
    """Silent when lots were cast; drawn, it answers ten days later if at all."""
    made = point(year) if answer is None else said(year, answer, on=LOT_ON + timedelta(days=10))
    return made._replace(lot_cast_on=LOT_ON, drawn_on=LOT_ON if drawn else None, probability=0.25 if drawn else None)


def of(shoulders: Iterable[Followed], *others: Row, year: int = 2, sentence: Sentence | None = None) -> Silence:
    read = followings(shoulders, *others)
    wanted = sentence or Sentence()
    return silence_of(read, strip_of(read, read.record.rows, wanted), wanted, QUESTIONS, year)


def crowd(yes: int, no: int, silent: int) -> list[Followed]:
    told = [shoulder(point(1), said(2, number < yes)) for number in range(yes + no)]
    return [*told, *(shoulder(point(1), point(2)) for _ in range(silent))]


def test_those_who_answered_as_they_are() -> None:
    found = of([*crowd(30, 10, 20), shoulder(point(1), answered(2, sst=9))])
    assert (found.complete, found.yes, len(found.told), len(found.silent)) == (wilson(30, 40), 30, 40, 20)
    assert (len(found.unscored), found.people, found.failed_sums()) == (1, 60, [])


def test_whoever_refused_was_never_asked_has_died_or_was_revised_is_compared_with_nobody() -> None:
    never = shoulder(point(1), point(2, Status.NEVER_ASKED))
    dead = shoulder(point(1), point(2), died=SURGERY + timedelta(days=400))
    found = of([*crowd(10, 5, 4), never, dead], line(), row(consent="withdrawn"))
    assert (len(found.told), len(found.silent), len(found.known)) == (15, 4, 19)


def test_compared_is_what_was_known_before_the_window_opened() -> None:
    """Of those who answered 2 of 3 had answered the year before, and 1 of 2 of whom it is known had said yes. An answer to that form which
    came when the window was open is not of before."""
    said_no: dict[str, Any] = {QUESTIONS[0]: 0}
    late = said(1, True, on=YEAR_2 - timedelta(days=30))._replace(status=Status.LATE)
    found = of(
        [
            shoulder(said(1, True), said(2, True), age=50, sex="female"),
            shoulder(said(1, False), said(2, True), age=60, sex="male"),
            shoulder(late, said(2, False), age=None, sex="female"),
            shoulder(point(1), point(2), said(3, True), age=80, sex="male"),
            shoulder(before_surgery(**said_no), point(1), point(2), age=70, sex="female"),
        ]
    )
    told = {
        each.name: (each.answered.n, each.answered.total, each.silent.n, each.silent.total) for each in found.compared
    }
    assert told == {
        "answered_before": (3, 2, 2, 0),
        "acceptable_before": (2, 1, 1, 0),
        "age": (2, 110, 2, 150),
        "female": (3, 2, 2, 1),
        "surgery_year": (3, 3 * 2015, 2, 2 * 2015),
    }


def test_weighted_by_who_answered_the_year_before() -> None:
    """40 of 50 who had answered before do so again, 32 of them yes; 20 of 50 who had not, 8 of them yes."""
    regular = [shoulder(said(1, n % 2 > 0), said(2, n < 32) if n < 40 else point(2)) for n in range(50)]
    seldom = [shoulder(point(1), said(2, n < 8) if n < 20 else point(2)) for n in range(50)]
    found = of([*regular, *seldom])
    assert isinstance(found.weighted, Weighted)
    assert found.complete is not None and found.complete.estimate == pytest.approx(40 / 60)
    assert found.weighted.result.estimate == pytest.approx((32 / 40 + 8 / 20) / 2, abs=0.02)
    assert found.weighted.predictors == 4


def test_too_few_silent_are_not_weighted() -> None:
    assert of(crowd(60, 20, 19)).weighted == NotWeighted("silent", 19)


def test_by_how_much_the_silent_would_have_to_be_worse() -> None:
    tips = of(crowd(60, 20, 20)).tips
    half = tips["half"]
    assert half is not None and half.possible is False  # even if none of them said yes, 60 of 100 did
    assert half.worse_by == pytest.approx(0.25 * 100 / 20)
    assert tips["limits"] is not None and tips["limits"].possible
    assert of(crowd(60, 20, 0)).tips == {"limits": None, "half": None}


def test_the_random_quarter_stands_for_everybody_whose_lot_was_cast() -> None:
    drawn = [shoulder(point(1), cast(True, number < 4)) for number in range(12)]
    frame = [*drawn, *(shoulder(point(1), cast()) for _ in range(36))]
    found = of([*crowd(45, 15, 0), *frame])
    assert found.sampled is not None and found.failed_sums() == []
    result = found.sampled.found
    assert (result.answered, result.cast, result.drawn, result.drawn_answered) == (60, 48, 12, 12)
    told = [Told(number, float(number < 45)) for number in range(60)]
    lots = [*(Lot(("d", n), 0.25, float(n < 4)) for n in range(12)), *(Lot(("u", n)) for n in range(36))]
    assert result == double_sampled(told, lots, share=True)
    assert result.result is not None and result.result.estimate == pytest.approx((45 + 48 * 4 / 12) / 108)
    assert found.sampled.is_primary and not found.sampled.since
    assert (len(found.told), len(found.silent)) == (60, 48)  # as if nobody had been drawn


def test_what_somebody_not_drawn_answers_later_is_an_answer_and_no_part_of_the_quarter() -> None:
    late = shoulder(point(1), cast(answer=True))
    found = of([*crowd(45, 15, 0), *(shoulder(point(1), cast(True, True)) for _ in range(12)), late])
    assert found.sampled is not None and found.failed_sums() == []
    assert (len(found.told), found.sampled.found.answered, found.sampled.found.cast) == (61, 60, 13)


def test_the_estimate_is_of_the_time_since_lots_are_cast_and_its_frame_is_told() -> None:
    early = date(2010, 1, 1)
    old = [shoulder(point(1, surgery_on=early), said(2, False, surgery_on=early), surgery_on=early) for _ in range(5)]
    quarter = [shoulder(point(1), cast(True, True)) for _ in range(10)]
    missed = [shoulder(point(1), point(2)) for _ in range(3)]
    found = of([*crowd(20, 0, 0), *old, *quarter, *missed])
    assert found.sampled is not None and found.failed_sums() == []
    assert (found.sampled.since, found.sampled.found.answered, found.sampled.without_lot) == (True, 20, 3)
    assert found.sampled.complete == wilson(20, 20)
    assert found.complete == wilson(20, 25)
    assert found.sampled.found.answered_well and not found.sampled.is_primary  # 3 of 13 silent had no lot


def test_without_a_lot_there_is_no_sampled_estimate() -> None:
    assert of(crowd(30, 10, 20)).sampled is None


def usual(shoulders: Iterable[Followed]) -> int | None:
    read = followings(shoulders)
    return usual_year(read, strip_of(read, read.record.rows, Sentence()), Sentence(), QUESTIONS)


def test_the_year_shown_is_the_one_whose_drawn_answered_well_and_else_that_with_the_most_silent() -> None:
    """12 are silent in year 1, 10 of those drawn for year 2 answer, and 15 are silent in year 3."""
    people = [shoulder(said(1, True), said(2, True), said(3, True)) for _ in range(12)]
    drawn = [shoulder(point(1), cast(True, True), said(3, True)) for _ in range(10)]
    quarter = [shoulder(point(1), cast(), said(3, True)) for _ in range(2)]
    mute = [shoulder(said(1, True), said(2, True), point(3)) for _ in range(15)]
    assert usual([*people, *drawn, *quarter, *mute]) == 2
    assert usual([*people, *drawn[1:], *quarter, *mute]) == 3  # nine are too few to go by
    assert usual([*people, *drawn[1:], *quarter]) == 2  # as many were silent in year 1: the later of two alike
    assert usual([*people, *drawn[1:], *quarter, shoulder(point(1))]) == 1


def test_a_year_with_hardly_an_answer_is_not_the_one_shown_however_many_are_silent() -> None:
    people = [shoulder(said(1, True), said(2, True)) for _ in range(9)]
    mute = [shoulder(said(1, True), point(2)) for _ in range(30)]
    assert usual([*people, *mute, shoulder(point(1), point(2))]) == 1
    assert usual([shoulder(said(1, True)), shoulder(point(1))]) == 1
    assert usual([shoulder(point(1))]) is None and usual([]) is None


def test_a_sum_that_does_not_hold_is_named() -> None:
    found = of(crowd(5, 5, 5))
    assert replace(found, unscored=(row(),)).failed_sums() == [("answered", 10, 11)]
    assert replace(found, known={}).failed_sums() == [("known", 15, 0)]


def test_both_versions_of_the_question_are_answers_to_it() -> None:
    other = answered(2, **{"pass@2/acceptable": 0})  # type: ignore[arg-type]
    read = followings([shoulder(point(1), said(2, True)), shoulder(point(1), other), shoulder(point(1), point(2))])
    questions = (*QUESTIONS, "pass@2/acceptable")
    found = silence_of(read, strip_of(read, read.record.rows, Sentence()), Sentence(), questions, 2)
    assert (found.yes, len(found.told), len(found.silent)) == (1, 2, 1)


def test_where_everybody_has_died_or_is_silent_there_is_no_year_to_tell() -> None:
    dead = [shoulder(point(1), died=SURGERY + timedelta(days=9)) for _ in range(3)]
    mute = [shoulder(point(1), point(2)) for _ in range(3)]
    series = [followings(people) for people in (dead, mute, [], [shoulder(said(1, True))])]
    strips = [strip_of(read, read.record.rows, Sentence()) for read in series]
    assert [years_to_tell(strip) for strip in strips] == [()] * 4
    assert [usual(people) for people in (dead, mute, [])] == [None] * 3
