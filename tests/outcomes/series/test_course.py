"""The course of a score: of those alive, unrevised and answering at each year, with limits by person and what stands apart."""

import random
from datetime import date
from statistics import mean, quantiles
from typing import Any

import pytest

from server.outcomes.arithmetic.clustered import mean_by_person
from server.outcomes.series.course import Course, Measure, answers_to, course_of, other_versions, said_in
from server.outcomes.series.followed import Followed, Point
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import Strip, strip_of
from server.schedule.status import Status
from tests.outcomes.series.followed_case import answered, before_surgery, followings, later, line, point, shoulder

SST = Measure("sst@1/total", 0, 12, higher_is_better=True)
YEAR_1 = date(2016, 3, 1)


def course(*shoulders: Followed, measure: Measure = SST, sentence: Sentence | None = None) -> tuple[Course, Strip]:
    read, said = followings(shoulders), sentence or Sentence()
    strip = strip_of(read, read.record.rows, said)
    return course_of(read, strip, said_in(strip), measure), strip


def recalled(**scores: Any) -> Point:
    return before_surgery(Status.RECALLED, **scores)._replace(code="recalled")


def test_an_empty_series_has_no_course() -> None:
    found, strip = course()
    assert (found.years, found.before, found.changes, found.last, found.told, found.failed_sums(strip)) == (
        {},
        None,
        {},
        None,
        None,
        [],
    )


def test_a_year_is_what_those_said_who_were_alive_unrevised_and_answering() -> None:
    found, strip = course(
        shoulder(answered(1, sst=9), answered(2, sst=12)),
        shoulder(answered(1, sst=6)),
        shoulder(answered(1, sst=1), later=(later(YEAR_1),)),
        shoulder(point(1)),
        shoulder(point(1), died=YEAR_1),
    )
    assert {year: (each.n, each.limits.mean, each.at_best) for year, each in found.years.items()} == {
        1: (2, 7.5, 0),
        2: (1, 12, 1),
    }
    assert found.failed_sums(strip) == [] and (found.shoulders, found.people) == (2, 2)


def test_an_answer_without_the_score_is_counted_and_is_in_no_mean() -> None:
    found, strip = course(shoulder(answered(1, sst=9)), shoulder(answered(1, pain=2)))
    assert (found.years[1].n, found.unscored[1], found.failed_sums(strip)) == (1, 1, [])
    found.unscored[1] += 1  # type: ignore[index]
    assert found.failed_sums(strip) == [(1, 2, 3)]


def test_limits_are_by_person() -> None:
    pairs = [(7, 9.0), (7, 8.0), (8, 3.0), (9, 12.0)]
    found, _strip = course(*(shoulder(answered(1, sst=score), patient_id=person) for person, score in pairs))
    assert found.years[1].limits == mean_by_person(pairs)
    assert (found.years[1].n, found.years[1].limits.people, found.people) == (4, 3, 3)


def test_the_course_ends_with_the_last_year_of_twenty_observed() -> None:
    many = [shoulder(*(answered(year, sst=9) for year in range(1, 4 if number < 20 else 6))) for number in range(39)]
    assert course(*many)[0].last == 3
    assert course(*many, shoulder(*(answered(year, sst=9) for year in range(1, 6))))[0].last == 5
    assert sorted(course(*many)[0].shown) == [1, 2, 3]


def test_change_is_of_those_with_both_answers_and_told_of_the_fifth_year_where_it_can_be() -> None:
    both = [
        shoulder(before_surgery(sst=number % 5), answered(1, sst=6), answered(5, sst=7 + number % 4))
        for number in range(20)
    ]
    found, _strip = course(*both, shoulder(answered(5, sst=12)), shoulder(before_surgery(sst=0), point(5)))
    change = found.changes[5]
    assert (change.paired.n, change.people, change.paired.mean_before, change.paired.mean_after) == (20, 20, 2, 8.5)
    assert change.limits.srm_lower is not None and found.told == change
    assert found.before is not None and found.before.n == 21
    assert course(*both[:19])[0].told is None


def test_what_was_recalled_stands_apart_and_is_in_no_change() -> None:
    found, _strip = course(shoulder(recalled(sst=3), before_surgery()._replace(answer=None), answered(1, sst=9)))
    assert found.before is None and found.changes == {}
    assert found.recalled is not None and found.recalled.limits.mean == 3


def test_an_acute_fracture_is_in_the_course_after_surgery_and_in_no_change() -> None:
    fracture = shoulder(before_surgery(sst=1), answered(1, sst=9), diagnosis="acute_fracture")
    elective = shoulder(before_surgery(sst=4), answered(1, sst=10))
    found, _strip = course(fracture, elective)
    assert (found.years[1].n, found.fractures) == (2, 1)
    assert found.before is not None and (found.before.n, found.before.limits.mean, found.changes[1].paired.n) == (
        1,
        4,
        1,
    )
    alone, _strip = course(fracture)
    assert (alone.before, alone.changes) == (None, {})


def test_two_versions_are_never_pooled_and_the_other_is_counted() -> None:
    after, before = ({"sst@2/total": score} for score in (3, 1))
    new = shoulder(answered(1, **dict[str, Any](after)), before_surgery(**dict[str, Any](before)))
    found, _strip = course(shoulder(answered(1, sst=9)), new)
    assert (found.years[1].n, found.years[1].limits.mean, found.unscored[1]) == (1, 9, 1)
    assert found.before is None and found.unscored == {year: int(year == 1) for year in range(1, 12)}


def test_answers_to_another_version_of_the_same_scale_are_counted() -> None:
    answers = {"sst@1/total": 20, "sst@2/total": 3, "sst@2/total_if_blanks_no": 4, "pain@2/total": 5}
    assert other_versions(answers, SST) == {"sst@2/total": 3}


def test_texts_are_counted_apart() -> None:
    found, _strip = course(
        shoulder(answered(1, sst=9), answered(2, sst=9)), shoulder(answered(1, sst=8, texts={"licensed"}))
    )
    assert found.texts == {"descriptive": 2, "licensed": 1}


def test_what_was_answered_most_can_be_told() -> None:
    read = followings([shoulder(answered(1, sst=9, pain=2)), shoulder(answered(1, sst=9), before_surgery(oss=20))])
    strip = strip_of(read, read.record.rows, Sentence())
    assert answers_to(said_in(strip)) == {"sst@1/total": 2, "pain@1/total": 1}


def test_only_answers_as_the_sentence_wants_them_are_in_the_course() -> None:
    by_phone = Sentence(mode=("telephone",))
    found, strip = course(
        shoulder(answered(1, sst=9)), shoulder(answered(1, sst=3, mode="telephone")), sentence=by_phone
    )
    assert (found.years[1].n, found.years[1].limits.mean, found.failed_sums(strip)) == (1, 3, [])


def test_the_best_of_a_scale_on_which_lower_is_better_is_its_low_end() -> None:
    pain = Measure("pain@1/total", 0, 10, higher_is_better=False)
    found, _strip = course(*(shoulder(answered(1, pain=score)) for score in (0, 0, 10)), measure=pain)
    assert found.years[1].at_best == 2


@pytest.mark.parametrize("seed", range(5))
def test_everything_is_as_counted_by_hand_whatever_was_answered(seed: int) -> None:
    chance = random.Random(seed)
    many = [
        shoulder(
            *(
                answered(year, sst=chance.randint(0, 12)) if chance.random() < 0.6 else point(year)
                for year in range(1, 11)
            )
        )
        for _each in range(30)
    ]
    found, strip = course(*many, shoulder(), *(shoulder(point(1)) for _each in range(3)))
    assert found.failed_sums(strip) == [] and len(found.years) == 10
    for year, each in found.years.items():
        by_hand = [
            value.scores["sst@1/total"] for one in many if (value := one.points[f"year-{year}"].answer) is not None
        ]
        assert (each.n, each.at_best) == (len(by_hand), by_hand.count(12))
        assert each.limits.mean == pytest.approx(mean(by_hand))
        assert each.quartiles == tuple(quantiles(by_hand, method="inclusive"))


def test_those_who_do_not_take_part_have_no_score() -> None:
    read = followings([shoulder(answered(1, sst=9))], line())
    strip = strip_of(read, read.record.rows, Sentence())
    found = course_of(read, strip, said_in(strip), SST)
    assert found.years[1].n == 1 and found.failed_sums(strip) == []
