"""By how much the silent would have to be worse."""

import pytest

from server.outcomes.arithmetic.tipping import tipping_point


def test_a_share_by_hand() -> None:
    """80 of 100 answered, 75 % of them yes: for 70 % of all, the 20 silent would have to be at 50 %, a quarter lower."""
    tip = tipping_point(0.75, 80, 20, 0.70, worst=0)
    assert tip is not None and tip.possible and (tip.worse_by, tip.silent) == pytest.approx((0.25, 0.5))
    assert tip is not None and (0.75 * 80 + tip.silent * 20) / 100 == pytest.approx(0.70)


def test_where_the_scale_has_no_room_no_silence_could_do_it() -> None:
    tip = tipping_point(0.75, 95, 5, 0.70, worst=0)
    assert tip is not None and not tip.possible and tip.worse_by == pytest.approx(1.0)
    at_the_end = tipping_point(0.75, 75, 25, 0.5625, worst=0)
    assert at_the_end is not None and at_the_end.possible and at_the_end.silent == pytest.approx(0)


def test_pain_is_worse_where_it_is_higher() -> None:
    tip = tipping_point(2.0, 60, 20, 3.0, worst=10, higher_is_better=False)
    assert tip is not None and tip.possible and (tip.worse_by, tip.silent) == pytest.approx((4.0, 6.0))
    tip = tipping_point(2.0, 60, 5, 3.0, worst=10, higher_is_better=False)
    assert tip is not None and not tip.possible


def test_there_is_none_without_silence_or_beyond_the_line() -> None:
    assert tipping_point(0.75, 80, 0, 0.7, worst=0) is None
    assert tipping_point(0.65, 80, 20, 0.7, worst=0) is None
    assert tipping_point(0.7, 80, 20, 0.7, worst=0) is None
    assert tipping_point(2.0, 80, 20, 1.0, worst=10, higher_is_better=False) is None
