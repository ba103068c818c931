"""Limits by person: Wilson on the effective n, and those of a product of two shares, each as sure as those who were observed for it."""

import random
from statistics import variance

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.outcomes.arithmetic.product import Counts, product_by_person
from server.outcomes.arithmetic.proportion import Interval, score_limits, wilson, wilson_by_person

REVISED, YES, NO, SILENT = (0, 1, 0, 0), (1, 0, 1, 0), (1, 0, 0, 1), (1, 0, 0, 0)


def limits(persons: dict[Counts, int]) -> Interval:
    found = product_by_person(persons)
    assert found is not None
    return found


@given(st.integers(1, 60), st.integers(1, 60))
def test_where_nobody_counts_twice_limits_by_person_are_those_of_wilson(yes: int, no: int) -> None:
    assert wilson_by_person({(1, 1): yes, (0, 1): no}) == pytest.approx(wilson(yes, yes + no))
    assert wilson_by_person({(1, 1): yes}) == pytest.approx(wilson(yes, yes))


def test_shoulders_of_one_person_that_always_agree_count_as_one() -> None:
    assert wilson_by_person({(2, 2): 15, (0, 2): 5}) == pytest.approx(wilson(15, 20))
    assert wilson_by_person({(2, 2): 20}) == pytest.approx(wilson(20, 20))
    assert limits({(2, 0, 2, 0): 15, (2, 0, 0, 2): 5, (2, 0, 0, 0): 30}) == pytest.approx(wilson(15, 20))
    assert limits({(2, 0, 2, 0): 20}) == pytest.approx(wilson(20, 20))


TWELVE = {YES: 12, SILENT: 187, REVISED: 1}
NONE_OF_TWELVE = {NO: 12, SILENT: 187, REVISED: 1}
ALL_REVISED: dict[Counts, int] = {REVISED: 5, (0, 0, 1, 0): 20, (0, 0, 0, 1): 10}


@pytest.mark.parametrize("once", [TWELVE, NONE_OF_TWELVE, ALL_REVISED, {**ALL_REVISED, (0, 0, 0, 1): 0}])
def test_where_one_share_stands_at_its_end_too(once: dict[Counts, int]) -> None:
    twice = {(2 * kept, 2 * lost, 2 * yes, 2 * no): people for (kept, lost, yes, no), people in once.items()}
    assert limits(twice) == pytest.approx(limits(once))


def test_shoulders_of_one_person_that_never_agree_count_as_no_more_than_they_are() -> None:
    assert wilson_by_person({(1, 2): 19, (2, 2): 1}) == pytest.approx(wilson(21, 40))
    assert limits({(2, 0, 1, 1): 19, (2, 0, 2, 0): 1}) == pytest.approx(wilson(21, 40))
    assert limits({(1, 1, 1, 0): 15, (1, 1, 0, 1): 5}) == pytest.approx(wilson(15, 40))  # one revised, the other not


@given(st.integers(0, 60), st.integers(0, 60), st.integers(0, 200))
def test_where_nobody_was_revised_the_limits_are_those_of_wilson_on_who_answered(
    yes: int, no: int, silent: int
) -> None:
    found = product_by_person({YES: yes, NO: no, SILENT: silent})
    assert found == (None if yes + no == 0 else pytest.approx(wilson(yes, yes + no)))


@given(st.integers(0, 60), st.integers(0, 60), st.integers(1, 60))
def test_where_everybody_is_observed_for_both_the_limits_are_those_of_wilson_on_all(
    yes: int, no: int, revised: int
) -> None:
    found = product_by_person({YES: yes, NO: no, REVISED: revised})
    assert found == (None if yes + no == 0 else pytest.approx(wilson(yes, yes + no + revised)))


def test_those_who_are_silent_make_the_answers_of_twelve_no_surer() -> None:
    """Of 12 who all say yes it is 76 to 100, whatever is known of the implants of 188 silent people, and if one of them was revised."""
    assert limits({YES: 12, SILENT: 188}) == pytest.approx(wilson(12, 12))
    assert limits({NO: 12, SILENT: 188}) == pytest.approx(wilson(0, 12))
    one_revised = limits({YES: 12, SILENT: 187, REVISED: 1})
    assert one_revised.estimate == pytest.approx(0.995)
    assert one_revised.lower == pytest.approx(0.757, abs=0.002) and one_revised.upper > 0.995
    assert limits({NO: 12, SILENT: 187, REVISED: 1}).upper == pytest.approx(0.24, abs=0.01)


def middle(k: int, n: int) -> float:
    _share, lower, upper = wilson(k, n)
    return (lower + upper) / 2


@pytest.mark.parametrize(
    ("persons", "first", "known", "second", "answered"),
    [
        (TWELVE, 199 / 200, 200, middle(12, 12), 12),
        (NONE_OF_TWELVE, 199 / 200, 200, middle(0, 12), 12),
        (ALL_REVISED, middle(0, 5), 5, 2 / 3, 30),
        ({YES: 1, NO: 19, SILENT: 100, REVISED: 5}, 120 / 125, 125, 1 / 20, 20),
    ],
)
def test_a_share_varies_as_it_is_and_at_its_end_as_at_the_middle_of_wilsons_limits_by_hand(
    persons: dict[Counts, int], first: float, known: int, second: float, answered: int
) -> None:
    """The variance of a product of two shares to the first order: each varies by itself while the other stands still."""
    varies = second**2 * first * (1 - first) / known + first**2 * second * (1 - second) / answered
    found = limits(persons)
    expected = score_limits(found.estimate, first * second * (1 - first * second) / varies)
    assert found == pytest.approx(expected)


def test_a_share_of_few_known_implants_is_no_surer_than_they_are() -> None:
    assert limits({YES: 3, (0, 0, 1, 0): 30}) == pytest.approx(wilson(3, 3))
    all_revised = limits({REVISED: 5, (0, 0, 1, 0): 30})
    assert all_revised.estimate == 0 and all_revised.upper == pytest.approx(wilson(0, 5).upper, abs=0.02)


def test_the_variance_is_that_to_which_a_bootstrap_by_person_tends() -> None:
    """Persons drawn with replacement, 4,000 times, among them such with both shoulders."""
    persons: dict[Counts, int] = {
        YES: 90, NO: 30, SILENT: 60, REVISED: 20, (2, 0, 2, 0): 20, (2, 0, 0, 2): 8, (1, 1, 1, 0): 12,
    }  # fmt: skip
    chance, kinds, shares = random.Random(11), list(persons), []
    for _each in range(4000):
        drawn = chance.choices(kinds, list(persons.values()), k=sum(persons.values()))
        kept, lost, yes, no = (sum(counts) for counts in zip(*drawn, strict=True))
        shares.append(kept / (kept + lost) * yes / (yes + no))
    found = limits(persons)
    by_bootstrap = score_limits(found.estimate, found.estimate * (1 - found.estimate) / variance(shares))
    assert found == pytest.approx(by_bootstrap, abs=0.003)


def test_of_nobody_there_is_no_share() -> None:
    assert product_by_person({}) is None
    assert product_by_person({SILENT: 9}) is None and product_by_person({(0, 0, 1, 0): 9}) is None
