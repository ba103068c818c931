"""Numbers as they are printed: a half goes upwards, once, from the number as it is stored."""

import pytest

from scoring.printed_decimals import decimals_of, half_up


@pytest.mark.parametrize(
    ("value", "decimals", "printed"),
    [
        (51.25, 1, "51.3"),
        (53.75, 1, "53.8"),
        (31.25, 1, "31.3"),
        (2.5, 0, "3"),
        (3.5, 0, "4"),
        (0.05, 1, "0.1"),
        (-0.04, 1, "0.0"),
        (-2.5, 0, "-3"),
        (12, 0, "12"),
        (12, 1, "12.0"),
        (1e-9, 2, "0.00"),
        (100.0, 0, "100"),
        (245 / 3, 1, "81.7"),
        (0.145, 2, "0.15"),
    ],
)
def test_a_half_goes_upwards(value: float, decimals: int, printed: str) -> None:
    assert half_up(value, decimals) == printed


@pytest.mark.parametrize(
    ("value", "decimals"), [(15.91, 2), (2.3, 1), (18, 0), (18.0, 0), (20, 0), (100, 0), (0.05, 2)]
)
def test_decimals_are_those_of_the_number_as_written(value: float, decimals: int) -> None:
    assert decimals_of(value) == decimals
