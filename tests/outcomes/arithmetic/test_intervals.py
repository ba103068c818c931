"""The self-consistent estimator of interval-censored events."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.outcomes.arithmetic.intervals import Ends, Mass, quartile, self_consistent
from server.outcomes.arithmetic.spans import Span
from server.outcomes.arithmetic.survival import kaplan_meier
from tests.outcomes.arithmetic.sets import MERCAPTOPURINE, PLACEBO


@st.composite
def intervals(draw: st.DrawFn) -> Ends:
    left = draw(st.integers(0, 10))
    width = draw(st.one_of(st.none(), st.integers(0, 8)))
    return float(left), inf if width is None else float(left + width)


@pytest.mark.parametrize("spans", [MERCAPTOPURINE, PLACEBO])
def test_freireich_1963_as_intervals_is_kaplan_meier(spans: list[Span]) -> None:
    """An event is exact, a censored time not yet: then the estimator is Kaplan-Meier."""
    masses = self_consistent([(span.time, span.time if span.status else inf) for span in spans])
    steps = kaplan_meier(spans)
    falls = [
        before - step.survival for before, step in zip([1.0, *(step.survival for step in steps)], steps, strict=False)
    ]
    exact = [mass for mass in masses if mass.right < inf]
    assert [(mass.left, mass.right) for mass in exact] == [(step.time, step.time) for step in steps]
    assert [mass.mass for mass in exact] == pytest.approx(falls, abs=1e-8)
    assert sum(mass.mass for mass in masses if mass.right == inf) == pytest.approx(steps[-1].survival, abs=1e-8)


def test_freireich_1963_quartiles_as_intervals() -> None:
    masses = self_consistent([(span.time, span.time if span.status else inf) for span in MERCAPTOPURINE])
    assert [quartile(masses, share) for share in (0.25, 0.5, 0.75)] == [(13, 13), (23, 23), (35, inf)]


def test_four_rows_by_hand() -> None:
    """(0, 2], (1, 3], (2, 4], not yet after 3. Mass can lie in (1, 2], (2, 3] and (3, 4]; likeliest are a half and a half."""
    masses = self_consistent([(0, 2), (1, 3), (2, 4), (3, inf)])
    assert [mass[:2] for mass in masses] == [(1, 2), (3, 4)]
    assert [mass.mass for mass in masses] == pytest.approx([0.5, 0.5])
    assert quartile(masses, 0.5) == (1, 2)


def test_intervals_that_only_touch_have_nothing_in_common_and_an_exact_time_lies_at_the_end_of_one() -> None:
    assert [mass[:2] for mass in self_consistent([(1, 2), (2, 3)])] == [(1, 2), (2, 3)]
    assert self_consistent([(1, 2), (2, 2)]) == [Mass(2, 2, 1)]
    assert [mass[:2] for mass in self_consistent([(2, 2), (2, 3)])] == [(2, 2), (2, 3)]


def test_nobody_yet_is_one_interval_without_end() -> None:
    masses = self_consistent([(3, inf), (5, inf)])
    assert masses == [Mass(5, inf, 1)]
    assert quartile(masses, 0.25) == (5, inf)


def held_by(ends: Ends, mass: Mass) -> bool:
    """Whether the innermost interval lies in the row's."""
    after_left = mass.left >= ends[0] if ends[0] == ends[1] or mass.left < mass.right else mass.left > ends[0]
    return after_left and mass.right <= ends[1]


@given(st.lists(intervals(), min_size=1, max_size=40))
def test_each_mass_is_what_the_rows_expect_it_to_be(rows: list[Ends]) -> None:
    masses = self_consistent(rows)
    assert sum(mass.mass for mass in masses) == pytest.approx(1, abs=1e-8)
    expected = [0.0] * len(masses)
    for ends in rows:
        share = sum(mass.mass for mass in masses if held_by(ends, mass))
        for place, mass in enumerate(masses):
            expected[place] += mass.mass / share / len(rows) if held_by(ends, mass) else 0
    assert [mass.mass for mass in masses] == pytest.approx(expected, abs=1e-8)
