"""A timepoint's code as a value."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.schedule.timepoint_code import BEFORE_SURGERY, IN_A_YEAR, TimepointCode, Unit

AFTER_SURGERY = [unit for unit in Unit if unit != Unit.BEFORE_SURGERY]


@given(st.sampled_from(AFTER_SURGERY), st.integers(1, 999_999_999), st.integers(1, 9))
def test_the_text_of_a_code_is_read_as_the_same_code(unit: Unit, number: int, attempt: int) -> None:
    code = TimepointCode(unit, number, attempt)
    assert str(code) == f"{unit}-{number}"
    assert TimepointCode.parse(str(code), attempt) == code


def test_before_surgery_is_the_baseline() -> None:
    assert (str(BEFORE_SURGERY), TimepointCode.parse("baseline")) == ("baseline", BEFORE_SURGERY)
    assert BEFORE_SURGERY.is_before_surgery and not TimepointCode.parse("year-1").is_before_surgery


@pytest.mark.parametrize(
    "text",
    ["", "Baseline", "baseline-1", "year", "year-", "year-0", "year-01", "year--1", "year-1 ", "visit-1", "year-١"],
)
def test_any_other_text_is_no_code(text: str) -> None:
    with pytest.raises(ValueError, match="not the code of a timepoint"):
        TimepointCode.parse(text)


@pytest.mark.parametrize(
    ("unit", "number", "attempt"), [(Unit.YEAR, 0, 1), (Unit.BEFORE_SURGERY, 1, 1), (Unit.WEEK, 6, 0)]
)
def test_a_value_that_no_text_could_give_is_refused(unit: Unit, number: int, attempt: int) -> None:
    with pytest.raises(ValueError, match="no timepoint"):
        TimepointCode(unit, number, attempt)


def test_codes_are_in_the_order_of_time() -> None:
    in_time = ["baseline", "day-10", "week-6", "month-3", "week-26", "year-1", "month-18", "year-2", "year-10"]
    assert [str(code) for code in sorted(map(TimepointCode.parse, reversed(in_time)))] == in_time
    assert TimepointCode.parse("baseline", 1) < TimepointCode.parse("baseline", 2)


@pytest.mark.parametrize("unit", AFTER_SURGERY)
def test_a_year_is_over_once_all_its_units_are(unit: Unit) -> None:
    a_year = IN_A_YEAR[unit]
    assert [TimepointCode(unit, number).full_years for number in (a_year, 3 * a_year)] == [1, 3]
    assert a_year == 1 or TimepointCode(unit, a_year - 1).full_years == 0


def test_years_are_told_of_annual_timepoints_only() -> None:
    assert (TimepointCode.parse("year-7").year, TimepointCode.parse("month-12").year) == (7, None)
    assert (BEFORE_SURGERY.year, BEFORE_SURGERY.full_years) == (None, None)
