"""Which of two a person prefers: exact test, and limits that cover."""

import shutil
import subprocess
from math import comb, nextafter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.outcomes.arithmetic.preference import MOST, clopper_pearson, exact_p, preference_document

FEW = range(1, 31)


def test_14_of_19_by_binom_test_of_r() -> None:
    """binom.test(14, 19) in R 4.2: p .0635681, limits .487971 and .908534."""
    found = preference_document(14, 5)
    assert found["p"] == pytest.approx(0.0635681, abs=5e-8)
    assert (found["lower"], found["upper"]) == (pytest.approx(0.487971, abs=5e-7), pytest.approx(0.908534, abs=5e-7))
    assert found["estimate"] == 14 / 19


def summed_probabilities(n: int) -> list[float]:
    """As R defines it, in whole numbers, for each split of n: all that is not more likely than it, with R's tolerance of 1e-7."""
    ways = [comb(n, i) for i in range(n + 1)]
    return [sum(each for each in ways if each * 10**7 <= seen * (10**7 + 1)) / 2**n for seen in ways]


@pytest.mark.parametrize("n", [*FEW, 99, 100])
def test_p_is_the_sum_of_the_probabilities_not_larger_than_the_observed_one(n: int) -> None:
    assert [exact_p(a, n - a) for a in range(n + 1)] == pytest.approx(summed_probabilities(n), rel=1e-9)


def test_r_finds_the_same() -> None:
    r = shutil.which("Rscript") or pytest.skip("R is not installed here: binom.test was not run beside")
    splits = [(0, 1), (0, 7), (9, 0), (3, 3), (5, 6), (14, 5), (40, 61), (830, 170), (4900, 5100)]
    asks = "; ".join(
        f"x <- binom.test({a}, {a + b}); cat(sprintf('%.12g', c(x$conf.int, x$p.value)), '')" for a, b in splits
    )
    said = subprocess.run([r, "--vanilla", "-e", asks], capture_output=True, text=True, check=True).stdout
    ours = [(*clopper_pearson(a, a + b)[1:], exact_p(a, b)) for a, b in splits]
    assert [number for each in ours for number in each] == pytest.approx(
        [float(word) for word in said.split()], rel=1e-9
    )


@pytest.mark.parametrize("n", FEW)
def test_the_limits_cover_in_95_percent_or_more_whatever_the_share(n: int) -> None:
    """Exactly computed, on a grid and just beside every limit, where the coverage is least."""
    limits = [clopper_pearson(k, n) for k in range(n + 1)]
    beside = [nextafter(end, way) for each in limits for end in (each.lower, each.upper) for way in (0, 1)]
    shares = [share for share in (*beside, *(i / 200 for i in range(1, 200))) if 0 < share < 1]
    least = min(
        sum(
            comb(n, k) * share**k * (1 - share) ** (n - k)
            for k, each in enumerate(limits)
            if each.lower <= share <= each.upper
        )
        for share in shares
    )
    assert 0.95 - 1e-9 <= least < 1


@given(st.integers(0, 300), st.integers(0, 300))
def test_turning_the_two_round_turns_the_answer_round(a: int, b: int) -> None:
    if a + b == 0:
        a = 1
    one, other = preference_document(a, b), preference_document(b, a)
    assert one["p"] == other["p"]
    assert 0 <= one["lower"] <= one["estimate"] <= one["upper"] <= 1
    assert (1 - one["upper"], 1 - one["lower"]) == pytest.approx((other["lower"], other["upper"]), abs=1e-12)
    assert (one["p"] < 0.05) == (not one["lower"] <= 0.5 <= one["upper"])


def test_where_all_or_none_prefer_one_the_limit_is_the_end_itself() -> None:
    assert clopper_pearson(0, 10)[:2] == (0, 0) and clopper_pearson(10, 10)[::2] == (1, 1)
    assert clopper_pearson(10, 10).lower == pytest.approx(0.025**0.1)
    assert exact_p(10, 0) == pytest.approx(2 / 2**10)


def test_where_as_many_prefer_one_as_the_other_the_chance_is_1() -> None:
    """The two tails then share the middle, and would add up to more."""
    assert exact_p(7, 7) == exact_p(1, 1) == 1


def test_the_document_says_how_its_numbers_are_formed() -> None:
    method = preference_document(14, 5)["method"]
    assert method.startswith("estimate: share preferring A") and method.endswith("(below 1e-300 it may be 0)")


def test_ties_are_shown_and_not_counted() -> None:
    found, without = preference_document(14, 5, 40), preference_document(14, 5)
    assert (found["a"], found["b"], found["with_preference"], found["ties"]) == (14, 5, 19, 40)
    assert without == {**found, "ties": None}


def test_what_cannot_be_tested_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^nobody has a preference"):
        preference_document(0, 0, 7)
    with pytest.raises(
        ValueError, match=r"^A and B are 10001 people together; the exact test is made for at most 10000$"
    ):
        preference_document(MOST, 1)
    assert 0 <= preference_document(MOST, 0)["p"] < 1e-300
