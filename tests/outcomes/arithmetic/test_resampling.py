"""Limits by person: Wilson on the effective n, and the bootstrap by person of a share that is a product."""

import random
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.outcomes.arithmetic.proportion import wilson, wilson_by_person
from server.outcomes.arithmetic.resampling import resampled_share


def plain(sums: Sequence[int]) -> float | None:
    yes, asked = sums
    return yes / asked if asked else None


@given(st.integers(1, 60), st.integers(1, 60))
def test_where_nobody_counts_twice_limits_by_person_are_those_of_wilson(yes: int, no: int) -> None:
    assert wilson_by_person({(1, 1): yes, (0, 1): no}) == pytest.approx(wilson(yes, yes + no))
    assert wilson_by_person({(1, 1): yes}) == pytest.approx(wilson(yes, yes))


def test_shoulders_of_one_person_that_always_agree_count_as_one() -> None:
    assert wilson_by_person({(2, 2): 15, (0, 2): 5}) == pytest.approx(wilson(15, 20))
    assert wilson_by_person({(2, 2): 20}) == pytest.approx(wilson(20, 20))


def test_shoulders_of_one_person_that_never_agree_count_as_no_more_than_they_are() -> None:
    assert wilson_by_person({(1, 2): 19, (2, 2): 1}) == pytest.approx(wilson(21, 40))


def test_the_bootstrap_of_a_plain_share_is_wilson_but_for_the_chance_of_its_draws() -> None:
    found = resampled_share({(1, 1): 150, (0, 1): 50}, plain, random.Random(1).random)
    assert found is not None and found.estimate == 0.75
    assert found == pytest.approx(wilson(150, 200), abs=0.012)


def test_the_bootstrap_takes_a_person_whole() -> None:
    found = resampled_share({(2, 2): 75, (0, 2): 25}, plain, random.Random(1).random)
    assert found == pytest.approx(wilson(75, 100), abs=0.015)


def test_the_same_draws_give_the_same_limits() -> None:
    persons: dict[tuple[int, ...], int] = {(1, 1): 33, (0, 1): 7, (1, 2): 4}
    once, twice, other = (resampled_share(persons, plain, random.Random(seed).random) for seed in (7, 7, 8))
    assert once == twice != other


def test_where_all_say_yes_the_limits_are_those_of_so_many_people() -> None:
    assert resampled_share({(1, 1): 12}, plain, random.Random(1).random) == pytest.approx(wilson(12, 12))
    assert resampled_share({(2, 2): 6, (0, 0): 30}, plain, random.Random(1).random) == pytest.approx(wilson(6, 6))


def test_of_nobody_there_is_no_share() -> None:
    assert resampled_share({}, plain, random.Random(1).random) is None
    assert resampled_share({(0, 0): 9}, plain, random.Random(1).random) is None
