"""Limits of a share or a mean from how much it varies."""

from math import inf, nan

import pytest

from server.outcomes.arithmetic.limits import limits_of
from server.outcomes.arithmetic.proportion import wilson


def test_a_share_that_varies_as_one_of_independent_people_has_wilsons_limits() -> None:
    assert limits_of(0.7, 0.7 * 0.3 / 50, nan, share=True) == pytest.approx(wilson(35, 50))


def test_a_share_that_does_not_vary_has_them_on_the_effective_n() -> None:
    assert limits_of(1.0, 0.0, 12, share=True) == pytest.approx(wilson(12, 12))
    assert limits_of(1 - 1e-15, 1e-30, 12, share=True) == pytest.approx(wilson(12, 12))
    assert limits_of(0.0, 0.01, 12, share=True) == pytest.approx(wilson(0, 12))
    assert limits_of(1.0, 0.01, 12, share=True) == pytest.approx(wilson(12, 12))


def test_a_mean_has_students_limits_with_the_degrees_that_its_variance_has() -> None:
    """R 4.2: qt(.975, c(1, 10)) and qnorm(.975)."""
    assert [limits_of(50, 4, nan, share=False, df=df).upper for df in (0.4, 1.9, 10.0, inf)] == pytest.approx(
        [50 + 2 * times for times in (12.7062047, 12.7062047, 2.2281389, 1.9599640)]
    )
    near = [limits_of(50, 4, nan, share=False, df=df).upper for df in (199.9, 200)]
    assert near == pytest.approx([50 + 2 * 1.9719565, 50 + 2 * 1.9599640])  # qt(.975, 199)
    found = limits_of(50, 4, nan, share=False, df=250)
    assert (found.estimate - found.lower, found.upper - found.estimate) == pytest.approx((3.919928, 3.919928))


def test_few_degrees_widen_a_share_too() -> None:
    sure, unsure = (limits_of(0.5, 0.01, nan, share=True, df=df) for df in (inf, 4))
    assert unsure.upper - unsure.lower > 1.2 * (sure.upper - sure.lower)


def test_a_single_degree_leaves_a_share_next_to_nothing_to_say() -> None:
    """qt(.975, 1), at which the normal distribution has nothing left that a number can hold."""
    assert limits_of(1.0, 0.0, 6, share=True, df=1).lower == pytest.approx(1 / (1 + 12.7062047**2 / 6))
    found = limits_of(0.5, 0.01, nan, share=True, df=1)
    assert (found.lower, found.upper) == pytest.approx((0.5 - 0.4652725, 0.5 + 0.4652725), abs=5e-7)
