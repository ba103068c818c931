"""Improved is said only by what people said of their own change, after the same kind of operation. Sources stand with each threshold."""

from dataclasses import replace

import pytest

from scoring.change import BEYOND_ERROR, IMPROVED, IN_POINTS, UNCHANGED, WITHIN_ERROR, compare
from scoring.definition import THRESHOLD_IMPLANTS, Threshold
from scoring.threshold_choice import may_be_called_improved
from tests.scoring.making import library
from tests.scoring.test_threshold_choice import ERROR, GIVEN, SST

SPREAD = replace(GIVEN, distribution_based=True)
REVERSE = replace(GIVEN, implants=("reverse",))
WITH_HEMI = replace(GIVEN, holds_hemiarthroplasty=True)
WITHOUT = replace(GIVEN, holds_hemiarthroplasty=False)


@pytest.mark.parametrize(
    ("threshold", "implant", "used"),
    [
        (SPREAD, "reverse", False),
        (replace(WITH_HEMI, treatment="mixed"), "reverse", False),
        (replace(WITH_HEMI, treatment="not_stated"), "reverse", False),
        (replace(WITH_HEMI, treatment="other"), "reverse", False),
        (REVERSE, "reverse", True),
        (REVERSE, "anatomic_total", False),
        (REVERSE, None, False),
        (WITHOUT, "reverse", True),
        (WITHOUT, "resurfacing_hemi", False),
        (WITHOUT, "stemmed_hemi", False),
        (WITHOUT, None, False),
        (GIVEN, "stemless_hemi", False),
        (WITH_HEMI, "resurfacing_hemi", True),
        (WITH_HEMI, None, True),
    ],
)
def test_a_gain_is_called_improved_by_like_patients_only(threshold: Threshold, implant: str | None, used: bool) -> None:
    assert may_be_called_improved(threshold, implant) is used


def test_no_value_from_the_spread_of_scores_is_ever_used_so() -> None:
    every = [(one.id, each) for one in library().definitions.values() for each in one.thresholds]
    spread = [(name, each) for name, each in every if each.distribution_based and each.kind in ("mcid", "scb")]
    assert ("sane", 14.9) in [(name, each.value) for name, each in spread]
    assert not any(may_be_called_improved(each, implant) for _name, each in spread for implant in THRESHOLD_IMPLANTS)


@pytest.mark.parametrize(
    ("before", "after", "with_error", "word"),
    [
        (3, 11, True, IMPROVED),
        (3, 4, False, UNCHANGED),
        (3, 4, True, WITHIN_ERROR),
        (11, 3, True, BEYOND_ERROR),
        (11, 3, False, IN_POINTS),
        (4, 3, True, WITHIN_ERROR),
        (4, 3, False, IN_POINTS),
    ],
)
def test_a_loss_is_told_in_points_and_held_to_measurement_error(
    before: int, after: int, with_error: bool, word: str
) -> None:
    error = replace(ERROR, value=2) if with_error else None
    scale = SST.by_scale["total"]
    assert compare(scale, before, after, matters=GIVEN, detectable=error).word == word
