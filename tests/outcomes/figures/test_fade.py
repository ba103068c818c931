"""One fade rule for every figure over time: full from 40, thin below, nothing under 10."""

from server.outcomes.figures.fade import FULL, THIN, weight_of


def test_a_figure_is_full_from_forty_thin_below_and_ends_under_ten() -> None:
    assert [weight_of(count) for count in (40, 39, 10, 9, 0)] == [FULL, THIN, THIN, None, None]


def test_what_is_thin_is_thinner_and_paler() -> None:
    assert THIN.line < FULL.line and THIN.limits < FULL.limits and THIN.band < FULL.band
