"""Which of several published thresholds is used: by one stated rule, the same on every page."""

from dataclasses import replace

import pytest

from scoring.definition import Definition, Threshold
from scoring.threshold_choice import choose_threshold, shortest_follow_up, threshold_anchor
from tests.scoring.making import library

SST = library().instrument("sst@1")
PAIN = library().instrument("pain@1")
GIVEN = Threshold("mcid", "total", 2, None, "people", None, "anchor", "2 years", 100, "citation", None)


def with_thresholds(definition: Definition, *thresholds: Threshold) -> Definition:
    return replace(definition, thresholds=thresholds)


@pytest.mark.parametrize(
    ("other", "why"),
    [
        (replace(GIVEN, follow_up="6 months", holds_hemiarthroplasty=True, n=900), "a follow-up of at least a year"),
        (replace(GIVEN, follow_up="not stated in what was read", n=900), "a follow-up that is stated"),
        (replace(GIVEN, n=40), "more people"),
        (replace(GIVEN, n=None), "a number of people that is stated"),
        (replace(GIVEN, value=1.5), "of two alike the one harder to reach"),
        (replace(GIVEN, kind="scb", n=900), "its own kind"),
        (replace(GIVEN, scale="total_if_blanks_no", n=900), "its own scale"),
    ],
)
def test_the_one_chosen_has(other: Threshold, why: str) -> None:
    for order in ((GIVEN, other), (other, GIVEN)):
        assert choose_threshold(with_thresholds(SST, *order), "total", "mcid") is GIVEN, why


def test_people_with_a_hemiarthroplasty_come_before_larger_numbers() -> None:
    holds = replace(GIVEN, holds_hemiarthroplasty=True, n=30)
    none = replace(GIVEN, holds_hemiarthroplasty=False, n=900)
    for order in ((holds, none), (none, holds)):
        assert choose_threshold(with_thresholds(SST, *order), "total", "mcid") is holds


def test_a_level_on_a_scale_where_less_is_better_is_harder_to_reach_when_lower() -> None:
    low, high = replace(GIVEN, kind="pass", scale="pain", value=1), replace(GIVEN, kind="pass", scale="pain", value=3)
    for order in ((low, high), (high, low)):
        assert choose_threshold(with_thresholds(PAIN, *order), "pain", "pass") is low


def test_where_none_was_read_none_is_chosen() -> None:
    assert choose_threshold(replace(library().instrument("sane@1"), thresholds=()), "sane", "mcid") is None


def test_the_shoulder_test_takes_the_values_of_arthroplasty_with_hemiarthroplasty() -> None:
    """J Shoulder Elbow Surg 2022;31(8):1640-1646: 2.3 over all types, n = 887. J Shoulder Elb Arthroplast 2017;1: 8.4."""
    smallest, level = choose_threshold(SST, "total", "mcid"), choose_threshold(SST, "total", "pass")
    assert smallest is not None and (smallest.value, smallest.n) == (2.3, 887)
    assert level is not None and (level.value, level.n) == (8.4, 326)


@pytest.mark.parametrize(
    ("said", "days"),
    [
        ("2 years or more, mean 3.5 years", 730.5),
        ("12 months", 365.25),
        ("6 weeks", 42),
        ("10 days", 10),
        ("not stated in what was read", None),
    ],
)
def test_the_shortest_follow_up_is_read_from_its_words(said: str, days: float | None) -> None:
    assert shortest_follow_up(replace(GIVEN, follow_up=said)) == days


def test_every_row_has_an_anchor_of_its_own() -> None:
    for definition in library().definitions.values():
        anchors = [threshold_anchor(definition, each) for each in definition.thresholds]
        assert anchors == [f"threshold-{place}" for place in range(1, len(anchors) + 1)]
