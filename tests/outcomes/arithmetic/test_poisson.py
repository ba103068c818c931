"""Observed against expected deaths, with exact Poisson limits."""

import shutil
import subprocess
from math import exp, factorial

import pytest

from server.outcomes.arithmetic.poisson import MOST, deaths_document, poisson_limits


def test_5_in_26_by_poisson_test_of_r() -> None:
    """poisson.test(5, T=26) in R 4.2: limits .0624418 and .4487820."""
    found = deaths_document(5, 26)
    assert found["lower"] == pytest.approx(0.0624418, abs=5e-8)
    assert found["upper"] == pytest.approx(0.4487820, abs=5e-8)
    assert found["ratio"] == 5 / 26


@pytest.mark.parametrize("observed", range(31))
def test_at_each_limit_as_many_or_as_few_have_a_probability_of_2_5_percent(observed: int) -> None:
    def at_most(k: int, mean: float) -> float:
        return sum(exp(-mean) * mean**i / factorial(i) for i in range(k + 1))

    lower, upper = poisson_limits(observed)
    assert at_most(observed, upper) == pytest.approx(0.025, abs=1e-10)
    assert (lower == 0) if observed == 0 else 1 - at_most(observed - 1, lower) == pytest.approx(0.025, abs=1e-10)


def test_r_finds_the_same() -> None:
    r = shutil.which("Rscript") or pytest.skip("R is not installed here: poisson.test was not run beside")
    counts = [0, 1, 5, 37, 400, 12345, MOST]
    asks = "; ".join(f"cat(sprintf('%.12g', poisson.test({count})$conf.int), '')" for count in counts)
    said = subprocess.run([r, "--vanilla", "-e", asks], capture_output=True, text=True, check=True).stdout
    ours = [limit for count in counts for limit in poisson_limits(count)]
    assert ours == pytest.approx([float(word) for word in said.split()], rel=1e-8)


def test_many_by_poisson_test_of_r() -> None:
    """c(poisson.test(400)$conf.int, poisson.test(100000)$conf.int) in R 4.2."""
    found = (*poisson_limits(400), *poisson_limits(MOST))
    assert found == pytest.approx((361.756296631, 441.186648097, 99381.1526637, 100621.7447397), rel=1e-10)


def test_as_few_and_as_many_as_can_be_reckoned_with() -> None:
    assert deaths_document(0, 1e-6)["lower"] == 0
    assert deaths_document(MOST, MOST)["ratio"] == 1


def test_the_document_holds_what_it_was_given_and_says_how_its_numbers_are_formed() -> None:
    found = deaths_document(5, 26)
    assert (found["observed"], found["expected"]) == (5, 26)
    assert found["method"].startswith("ratio: observed / expected; limits 95%") and "Garwood" in found["method"]


def test_it_is_said_when_even_the_upper_limit_is_under_half_of_the_expected() -> None:
    """The upper limit of 5 is 11.668: under half of 24, not of 23."""
    assert deaths_document(5, 24)["note"].startswith("fewer than half of the expected deaths were observed")
    assert deaths_document(5, 23)["note"] is None


def test_what_has_no_ratio_is_refused() -> None:
    for expected in (0, -2, 1e-7, 5e-324):
        with pytest.raises(ValueError, match=r"^EXPECTED must be more than 0, at least"):
            deaths_document(3, expected)
    with pytest.raises(ValueError, match=r"^OBSERVED is 100001; exact limits are formed for at most 100000$"):
        deaths_document(MOST + 1, 5)
