"""Who has two types of implant, what they prefer, and that each person stands in one place."""

from datetime import date
from typing import Any

import pytest

from server.outcomes.arithmetic.preference import preference_document
from server.outcomes.series.followed import Followed
from server.outcomes.series.preference import ANSWERS, NO_DIFFERENCE, Pair, Told, both_shoulders, preference_of
from server.outcomes.series.sentence import Sentence
from tests.outcomes.series.followed_case import TODAY, answered, later, shoulder

ANSWER_ON = date(2024, 3, 1)
LEFT_FIRST = (date(2015, 3, 1), date(2018, 3, 1))


def rated(value: float) -> dict[str, Any]:
    return {"sane@1/sane": value}


def person(
    number: int,
    types: tuple[str, str] = ("resurfacing_hemi", "reverse"),
    ratings: tuple[float, float] = (80, 70),
    days: tuple[date, date] = LEFT_FIRST,
    **right: Any,
) -> list[Followed]:
    """Left and right; rated five years after each."""
    return [
        shoulder(
            answered(5, surgery_on=on, **rated(rating)),
            side=side, patient_id=number, implant_type=type_, surgery_on=on, **more,
        )
        for side, type_, on, rating, more in zip(("left", "right"), types, days, ratings, ({}, right), strict=True)
    ]  # fmt: skip


def told(prefers: str | None) -> Told:
    return Told(ANSWER_ON, prefers)


def one_pair(people: list[list[Followed]], answers: dict[int, Told]) -> Pair:
    found = preference_of(both_shoulders(each for two in people for each in two), answers, Sentence(), TODAY)
    assert found.failed_sums() == []
    (pair,) = found.pairs
    return pair


def test_only_people_with_another_type_on_each_side_are_compared_and_the_rest_is_counted() -> None:
    people = [
        person(1),
        person(2, ("reverse", "reverse")),
        person(3, ("not_recorded", "reverse")),
        person(4, ("reverse", "resurfacing_hemi")),
        person(5, ("stemmed_hemi", "reverse")),
        [shoulder(patient_id=6)],
    ]
    found = preference_of(both_shoulders(each for of in people for each in of), {}, Sentence(), TODAY)
    assert (found.both, found.same, found.untold) == (5, 1, 1)
    assert [(pair.types, len(pair.people)) for pair in found.pairs] == [
        (("resurfacing_hemi", "reverse"), 2),
        (("stemmed_hemi", "reverse"), 1),
    ]
    assert found.failed_sums() == []


@pytest.mark.parametrize(
    ("answer", "place"),
    [
        (told("left"), "first"),
        (told("right"), "second"),
        (told(NO_DIFFERENCE), NO_DIFFERENCE),
        (told(None), "unanswered"),
        (Told(None, None, readable=False), "erased"),
        (None, "unasked"),
    ],
)
def test_a_person_stands_in_one_place_by_the_side_that_carries_the_type(answer: Told | None, place: str) -> None:
    answers = {} if answer is None else {1: answer}
    pair = one_pair([person(1)], answers)
    assert [(each, pair.count(each)) for each in ANSWERS if pair.count(each)] == [(place, 1)]


def test_what_was_revised_before_the_answer_is_not_compared_and_a_later_revision_changes_nothing() -> None:
    def with_revision(on: date) -> str:
        pair = one_pair([person(1, later=(later(on),))], {1: told("left")})
        return pair.people[0].answer

    assert with_revision(ANSWER_ON) == "revised"
    assert with_revision(date(2024, 3, 2)) == "first"


def test_share_limits_and_p_are_those_of_the_exact_test() -> None:
    people = [person(number) for number in range(1, 20)]
    pair = one_pair(people, {number: told("right" if number <= 14 else "left") for number in range(1, 20)})
    share, expected = pair.share, preference_document(14, 5)
    assert share is not None
    assert (share.estimate, share.lower, share.upper) == (expected["estimate"], expected["lower"], expected["upper"])
    # binom.test(14, 19) of R
    assert pair.p == pytest.approx(0.0635681, abs=1e-7)
    assert (share.lower, share.upper) == pytest.approx((0.487971, 0.908534), abs=1e-6)


def test_fewer_than_ten_with_a_preference_have_no_share_and_no_p() -> None:
    people = [person(number) for number in range(1, 13)]
    pair = one_pair(people, {number: told("left" if number < 10 else NO_DIFFERENCE) for number in range(1, 13)})
    assert (pair.with_preference, pair.count(NO_DIFFERENCE), pair.share, pair.p) == (9, 3, None, None)


def test_ratings_are_compared_within_the_person_a_year_or_more_after_each() -> None:
    fresh = shoulder(
        answered(1, on=date(2015, 9, 1), **rated(5)), side="left", patient_id=3, implant_type="resurfacing_hemi"
    )  # fmt: skip
    people = [person(1, ratings=(80, 70)), person(2, ratings=(60, 90)), [fresh, person(3)[1]]]
    pair = one_pair(people, {number: told("left") for number in (1, 2, 3)})
    assert pair.people[2].ratings is None
    assert (pair.rated, pair.ratings) == ([(80, 70), (60, 90)], None), "of fewer than ten no mean is told"
    people += [person(number, ratings=(60, 70)) for number in range(4, 12)]
    change, _limits = one_pair(people, {number: told("left") for number in range(1, 12)}).ratings or (None, None)
    assert change is not None and (change.n, change.mean_change) == (10, 10)


def test_ratings_by_two_versions_of_the_question_are_not_compared() -> None:
    second = shoulder(
        answered(5, surgery_on=LEFT_FIRST[1], **dict[str, Any]({"sane@2/sane": 70.0})),
        side="right", patient_id=1, implant_type="reverse", surgery_on=LEFT_FIRST[1],
    )  # fmt: skip
    pair = one_pair([[person(1)[0], second]], {1: told("left")})
    assert (pair.people[0].answer, pair.people[0].ratings) == ("first", None)


def test_order_of_the_operations_and_years_since_each_are_told() -> None:
    same_day = person(2, days=(date(2015, 3, 1), date(2015, 3, 1)))
    pair = one_pair([person(1), same_day, person(3)], {1: told("left"), 2: told("right"), 3: told("right")})
    assert [each.later for each in pair.people] == ["second", None, "second"]
    assert pair.prefer_the_later == (1, 2)
    assert pair.years_since == pytest.approx((9.0, 6.0), abs=0.01)


def test_nobody_with_both_shoulders_is_an_empty_result() -> None:
    found = preference_of(both_shoulders([shoulder(), shoulder()]), {}, Sentence(), TODAY)
    assert (found.both, found.pairs, found.failed_sums()) == (0, (), [])
