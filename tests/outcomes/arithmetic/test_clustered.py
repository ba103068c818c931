"""Means and changes by person: the usual limits where nobody counts twice, wider ones where two shoulders of one person agree."""

import shutil
import subprocess
from math import sqrt
from statistics import mean, stdev

import pytest

from server.outcomes.arithmetic.clustered import PersonPair, change_limits_by_person, mean_by_person
from server.outcomes.arithmetic.paired import ChangeLimits, change_limits, paired_change
from server.outcomes.arithmetic.student import t_quantile

VALUES = [(1, 9.0), (1, 8.0), (2, 12.0), (3, 4.0), (3, 5.0), (4, 10.0), (5, 7.0)]
PAIRS = [
    PersonPair(1, 3, 9), PersonPair(1, 2, 8), PersonPair(2, 6, 12), PersonPair(3, 4, 4), PersonPair(3, 1, 5), PersonPair(4, 5, 10),
]  # fmt: skip


def test_where_nobody_counts_twice_the_limits_are_those_of_student() -> None:
    values = [9.0, 8.0, 12.0, 4.0]
    found = mean_by_person(enumerate(values))
    half = t_quantile(0.975, 3) * stdev(values) / sqrt(4)

    assert found is not None and (found.n, found.people, found.mean) == (4, 4, mean(values))
    assert (found.lower, found.upper) == pytest.approx((found.mean - half, found.mean + half))


def test_two_shoulders_that_agree_make_the_limits_wider_than_strangers_would() -> None:
    by_person, strangers = mean_by_person(VALUES), mean_by_person(enumerate(value for _person, value in VALUES))

    assert by_person is not None and strangers is not None
    assert by_person.people == 5 and by_person.mean == strangers.mean
    assert by_person.se is not None and strangers.se is not None and by_person.se > strangers.se


def test_the_sandwich_standard_error_as_worked_by_hand() -> None:
    """Mean 55/7; distances by person: 9 + 8 - 110/7 = 9/7, 29/7, 9 - 110/7 = -47/7, 15/7, -6/7."""
    found = mean_by_person(VALUES)
    squares = (81 + 841 + 2209 + 225 + 36) / 49

    assert found is not None and found.se == pytest.approx(sqrt(5 / 4 * squares) / 7)


@pytest.mark.skipif(shutil.which("Rscript") is None, reason="needs R")
def test_the_sandwich_standard_error_beside_r() -> None:
    """lm(y ~ 1) with the meat summed by person."""
    values, persons = (",".join(str(each[place]) for each in VALUES) for place in (1, 0))
    said = f"y<-c({values});g<-c({persons});u<-tapply(residuals(lm(y~1)),g,sum);cat(sqrt(5/4*sum(u^2))/length(y))"
    found = mean_by_person(VALUES)

    assert found is not None
    r = subprocess.run(["Rscript", "-e", said], capture_output=True, text=True, check=True)
    assert found.se == pytest.approx(float(r.stdout), rel=1e-5)


@pytest.mark.parametrize("values", [[(1, 3.0), (1, 5.0)], [(1, 4.0), (2, 4.0), (3, 4.0)]])
def test_one_person_or_equal_values_have_a_mean_and_no_limits(values: list[tuple[int, float]]) -> None:
    found = mean_by_person(values)
    assert found is not None and found.mean == 4 and (found.se, found.lower, found.upper) == (None, None, None)


def test_nobody_has_no_mean() -> None:
    assert mean_by_person([]) is None


def test_the_limits_of_a_change_are_exact_where_nobody_counts_twice() -> None:
    pairs = [PersonPair(number, pair.before, pair.after) for number, pair in enumerate(PAIRS)]
    change = paired_change([(pair.before, pair.after) for pair in pairs])

    assert change_limits_by_person(change, pairs) == change_limits(change)


def left_out(pairs: list[PersonPair], size: str) -> tuple[float, float]:
    """Limits by the jackknife as it is defined: everybody left out in turn."""

    def of(kept: list[PersonPair]) -> float:
        found: float = getattr(paired_change([(pair.before, pair.after) for pair in kept]), size)
        return found

    persons = {pair.person for pair in pairs}
    sizes = [of([pair for pair in pairs if pair.person != person]) for person in persons]
    n, middle = len(persons), mean(sizes)
    half = t_quantile(0.975, n - 1) * sqrt((n - 1) / n * sum((each - middle) ** 2 for each in sizes))
    return of(pairs) - half, of(pairs) + half


TWO_PEOPLE = [PersonPair(1, 3, 9), PersonPair(1, 2, 11), PersonPair(2, 6, 12), PersonPair(2, 4, 5)]


@pytest.mark.parametrize("pairs", [PAIRS, TWO_PEOPLE])
def test_the_limits_of_a_change_are_by_person_where_somebody_counts_twice(pairs: list[PersonPair]) -> None:
    change = paired_change([(pair.before, pair.after) for pair in pairs])
    by_person = mean_by_person((pair.person, pair.after - pair.before) for pair in pairs)
    assert by_person is not None
    expected = (by_person.lower, by_person.upper, *left_out(pairs, "effect_size"), *left_out(pairs, "srm"))

    assert change_limits_by_person(change, pairs) == pytest.approx(expected)


def test_two_people_have_limits_by_a_single_degree_of_freedom() -> None:
    """R 4.2: t.test(c(3, 5))$conf.int"""
    found = mean_by_person([(1, 3.0), (2, 5.0)])
    assert found is not None and (found.lower, found.upper) == pytest.approx((-8.7062047, 16.7062047))


@pytest.mark.parametrize("same", [123.4, 0.0])
def test_a_size_that_cannot_be_formed_without_somebody_has_no_limits_and_the_others_have(same: float) -> None:
    """Without the last person all scores before are the same, but for the rounding of their squares."""
    befores = [same, same, same, same, same, 90.0]
    pairs = [PersonPair(max(1, place), before, before + place**2) for place, before in enumerate(befores)]
    change = paired_change([(pair.before, pair.after) for pair in pairs])
    found = change_limits_by_person(change, pairs)

    assert change.effect_size is not None and (found.effect_size_lower, found.effect_size_upper) == (None, None)
    assert (found.srm_lower, found.srm_upper) == pytest.approx(left_out(pairs, "srm"))


def test_of_one_person_with_two_shoulders_there_are_no_limits() -> None:
    pairs = [PersonPair(1, 1, 3), PersonPair(1, 2, 7)]
    change = paired_change([(pair.before, pair.after) for pair in pairs])
    assert change.srm is not None and change_limits_by_person(change, pairs) == ChangeLimits()


def test_where_all_change_by_the_same_there_are_no_limits() -> None:
    pairs = [PersonPair(1, 1, 3), PersonPair(1, 2, 4), PersonPair(2, 3, 5)]
    change = paired_change([(pair.before, pair.after) for pair in pairs])
    assert change_limits_by_person(change, pairs) == ChangeLimits()
