"""The log-rank test, by published sets. Values of R: survival 3.5, KMsurv 0.1-5, R 4.2."""

from math import exp

import pytest

from server.outcomes.arithmetic.logrank import LogRank, chi2_tail, log_rank
from server.outcomes.arithmetic.spans import Span
from tests.outcomes.arithmetic.sets import MERCAPTOPURINE, PLACEBO, groups_of


def log_rank_of(groups: dict[str, list[Span]]) -> LogRank:
    found = log_rank(groups)
    assert found is not None
    return found


def test_freireich_1963() -> None:
    """survdiff: chi2 and V; the shortcut sum of (O - E) squared / E would be 15.23"""
    found = log_rank_of({"6-MP": MERCAPTOPURINE, "placebo": PLACEBO})
    assert found.observed == {"6-MP": 9, "placebo": 21}
    assert found.expected == pytest.approx({"6-MP": 19.25050, "placebo": 10.74950}, abs=6e-6)
    assert found.chi2 == pytest.approx(16.792941, abs=6e-7) and found.df == 1
    assert found.p == pytest.approx(4.17e-5, abs=6e-8)
    assert (9 - found.expected["6-MP"]) ** 2 / found.chi2 == pytest.approx(6.256961, abs=6e-7)


@pytest.mark.parametrize(
    ("name", "chi2", "df"), [("larynx.csv", 22.76276, 3), ("lung.csv", 10.326742, 1), ("aml.csv", 3.396389, 1)]
)
def test_larynx_lung_and_aml(name: str, chi2: float, df: int) -> None:
    """survdiff(Surv(time,delta)~stage), survdiff(Surv(time,status)~sex), ~x"""
    found = log_rank_of(groups_of(name))
    assert found.chi2 == pytest.approx(chi2, abs=3e-6) and found.df == df


def test_whoever_enters_late_is_expected_to_have_no_event_before() -> None:
    found = log_rank_of({"early": [Span(1, 1, 0), Span(6, 1, 0)], "late": [Span(5, 1, 2), Span(7, 0, 2)]})
    assert found.expected == pytest.approx({"early": 1 + 1 / 3 + 1 / 2, "late": 2 / 3 + 1 / 2})


@pytest.mark.parametrize("groups", [{"a": MERCAPTOPURINE, "b": PLACEBO}, groups_of("larynx.csv")], ids=["two", "four"])
def test_a_group_that_was_never_at_risk_beside_another_adds_no_degree_of_freedom(groups: dict[str, list[Span]]) -> None:
    with_another = log_rank_of({**groups, "gone at once": [Span(0.05, 0)]})
    assert with_another.chi2 == pytest.approx(log_rank_of(groups).chi2) and with_another.df == len(groups) - 1


def test_two_people_one_after_the_other() -> None:
    """A half was expected of the first, with a variance of a quarter; of the second alone one, with none."""
    found = log_rank_of({"a": [Span(1, 1)], "b": [Span(2, 1)]})
    assert (found.expected, found.chi2) == ({"a": 0.5, "b": 1.5}, 1)


@pytest.mark.parametrize("status", [0, 2])
def test_there_is_no_test_without_an_event(status: int) -> None:
    assert log_rank({"a": [Span(1, status)], "b": [Span(2, status)]}) is None


@pytest.mark.parametrize(
    ("chi2", "df", "p"),
    [(3.841459, 1, 0.05), (5.991465, 2, 0.05), (7.814728, 3, 0.05), (9.487729, 4, 0.05), (18.307038, 10, 0.05),
     (6.634897, 1, 0.01), (24.724970, 11, 0.01), (0, 1, 1), (0, 4, 1)],
)  # fmt: skip
def test_the_tail_of_the_tables_of_chi_squared(chi2: float, df: int, p: float) -> None:
    """qchisq(1 - p, df)"""
    assert chi2_tail(chi2, df) == pytest.approx(p, abs=1e-7)
    assert chi2_tail(2, 2) == exp(-1)


def test_a_chance_is_never_above_1_by_rounding() -> None:
    assert chi2_tail(5.8898811344719996e-05, 10) == 1
