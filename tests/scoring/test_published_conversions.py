"""Means that were printed on one scale of an instrument, carried to its other scale by the instrument's own rule."""

from fractions import Fraction

import pytest

from scoring.steps import Exact
from tests.scoring.making import library


@pytest.mark.parametrize(("new", "old"), [("41.2", "18.8"), ("43.7", "16.3")])
def test_oxford_means_of_clement_and_court_brown_2014_on_the_newer_scale(new: str, old: str) -> None:
    """Women 18.8 and men 16.3 on the scale from 12 to 60, doi 10.4103/0973-6042.131849; new = 60 - old."""
    assert to_old(new) == Fraction(old)


@pytest.mark.parametrize(("new", "old"), [("44.7", "15.3"), ("23.3", "36.7")])
def test_oxford_means_of_younis_2011_on_the_newer_scale(new: str, old: str) -> None:
    """Without complaints 15.3, before surgery 36.7, doi 10.1308/003588411X13165261994193; new = 60 - old."""
    assert to_old(new) == Fraction(old)


def to_old(new: str) -> Exact:
    (step,) = library().instrument("oss").by_scale["old"].rule.then
    return step.apply(Fraction(new))
