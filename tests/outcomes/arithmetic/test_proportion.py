"""A proportion has Wilson limits."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.outcomes.arithmetic.proportion import proportion_document, wilson
from tests.outcomes.arithmetic.coverage import lowest_coverage, wilson_coverage


@pytest.mark.parametrize(
    ("k", "n", "level", "lower", "upper"),
    [(32, 32, 0.95, 0.8928208, 1), (0, 32, 0.95, 0, 0.1071792), (5, 10, 0.9, 0.2692718, 0.7307282)],
)
def test_limits_printed_by_an_r_package_after_newcombe_1998(
    k: int, n: int, level: float, lower: float, upper: float
) -> None:
    found = wilson(k, n, level)
    assert found.lower == pytest.approx(lower, abs=5e-8)
    assert found.upper == pytest.approx(upper, abs=5e-8)


@pytest.mark.parametrize(
    ("k", "n", "percent"), [(261, 301, 87), (208, 301, 69), (33, 42, 79), (42, 48, 88), (237, 356, 67)]
)
def test_proportions_printed_in_published_cohorts(k: int, n: int, percent: int) -> None:
    """Cole 2022 (acceptable state by two scores), CORR 2016 PMC5085940, JOSPT 2017;47(4):278-286."""
    found = wilson(k, n)
    assert int(found.estimate * 100 + 0.5) == percent
    assert found.lower < found.estimate < found.upper


@given(n=st.integers(1, 500), share=st.floats(0, 1), level=st.floats(0.5, 0.999))
def test_limits_hold_the_estimate_and_lie_between_0_and_1(n: int, share: float, level: float) -> None:
    k = round(share * n)
    found = wilson(k, n, level)
    assert 0 <= found.lower <= found.estimate <= found.upper <= 1
    other = wilson(n - k, n, level)
    assert (1 - other.upper, 1 - other.lower) == pytest.approx((found.lower, found.upper), abs=1e-12)


@given(n=st.integers(1, 500), share=st.floats(0, 1))
def test_the_limits_are_where_the_score_test_just_rejects(n: int, share: float) -> None:
    """(estimate - p)^2 = z^2 p (1 - p) / n at each limit: the definition, not the formula."""
    k = round(share * n)
    estimate, *limits = wilson(k, n)
    squares = [(estimate - limit) ** 2 for limit in limits]
    assert squares == pytest.approx([1.959963984540054**2 * each * (1 - each) / n for each in limits], abs=1e-9)
    assert len(squares) == 2


@pytest.mark.parametrize(
    ("k", "n", "level"),
    [(1, 0, 0.95), (0, 0, 0.95), (-1, 5, 0.95), (6, 5, 0.95), (1, 5, 0), (1, 5, 1), (1, 5, 1 - 2**-53)],
)
def test_what_is_no_proportion_is_refused(k: int, n: int, level: float) -> None:
    with pytest.raises(ValueError, match=r"needs 0 <= K <= N|the level lies"):
        wilson(k, n, level)


def test_the_document_names_its_method() -> None:
    document = proportion_document(5, 10, 0.9)
    assert list(document) == ["k", "n", "estimate", "lower", "upper", "method"]
    assert (document["k"], document["n"]) == (5, 10)
    assert document["estimate"] == 0.5
    assert document["method"] == "Wilson score interval without continuity correction, level 0.9"


def test_newcombe_1998_exact_coverage_of_twenty_people() -> None:
    """It falls to .8366 at some shares, and is .950 or more on the average of all: no band around 95 describes it."""
    assert lowest_coverage(20) == pytest.approx(0.8366, abs=5e-5)
    assert sum(wilson_coverage(20, (number + 0.5) / 500) for number in range(500)) / 500 >= 0.95
