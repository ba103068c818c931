"""Where a rising function reaches a value."""

from math import nextafter

import pytest

from server.outcomes.arithmetic.root import reached


def test_it_is_the_least_number_at_which_the_value_is_reached() -> None:
    assert reached(lambda at: at, 0.25, 0.0, 1.0) == 0.25
    assert reached(lambda at: at, 0.3, 0.0, 1.0) == 0.3
    assert reached(lambda at: float(at > 0.3), 1.0, 0.0, 1.0) == nextafter(0.3, 1)


def test_a_root_of_2() -> None:
    assert reached(lambda at: at * at, 2.0, 0.0, 2.0) == pytest.approx(1.4142135623730951, rel=1e-15)
