"""Change within one person: gains, percent of the possible, reliable change, words by stated thresholds, ends."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.change import (
    BEYOND_ERROR,
    IN_POINTS,
    WITHIN_ERROR,
    Change,
    Point,
    Reliability,
    changes_over_time,
    compare,
    count_comparisons,
    count_ends,
    gain,
    percent_of_possible,
)
from scoring.definition import Scale, Threshold
from scoring.parse import parse_definition
from tests.scoring.making import definition_data, library, threshold_data

SST = library().instrument("sst").by_scale["total"]
PAIN = library().instrument("pain").by_scale["pain"]
ASES = library().instrument("ases").by_scale["total"]


def threshold(kind: str, value: float, scale: str = "total") -> Threshold:
    (found,) = parse_definition(definition_data(thresholds=[threshold_data(kind=kind)]), "trial.json").thresholds
    return replace(found, scale=scale, value=value)


MCID = threshold("mcid", 2.3)
DETECTABLE = threshold("detectable_change", 2.8)


@pytest.mark.parametrize(("before", "after", "percent"), [(9, 10, 33), (2, 10, 80)])
def test_percent_of_possible_improvement_printed_in_blog_2023(before: int, after: int, percent: int) -> None:
    """shoulderarthritis.blogspot.com, June 2023: (after - before) / (12 - before) x 100."""
    found = percent_of_possible(SST, before, after)
    assert found is not None
    assert int(found) == percent
    assert found == pytest.approx(float(Fraction(100 * (after - before), 12 - before)))


def test_percent_of_possible_improvement_printed_in_blog_2018() -> None:
    """shoulderarthritis.blogspot.com, January 2018: 0 to 2 of 12, 17 percent."""
    assert percent_of_possible(SST, 0, 2) == pytest.approx(16.6667, abs=5e-5)


def test_percent_of_possible_improvement_follows_the_formula_where_blog_2022_slips() -> None:
    """It prints 28 and a best score of 11; the formula gives 3 / 11."""
    assert percent_of_possible(SST, 1, 4) == pytest.approx(27.2727, abs=5e-5)


def test_nothing_can_be_said_of_the_possible_at_the_best_value() -> None:
    assert percent_of_possible(SST, 12, 12) is None
    assert percent_of_possible(PAIN, 0, 3) is None
    assert percent_of_possible(PAIN, 10, 4) == 60


def test_a_gain_is_for_the_better_whichever_way_the_scale_runs() -> None:
    assert (gain(SST, 3, 10), gain(PAIN, 8, 1), gain(PAIN, 1, 8)) == (7, 7, -7)


@pytest.mark.parametrize(
    ("sd", "coefficient", "change", "sem", "of_change", "index"),
    [(7.5, 0.8, 15, 3.3541, 4.7434, 3.1623), (5, 0.8, 8, 2.2361, 3.1623, 2.5298)],
)
def test_reliable_change_index_of_jacobson_and_truax_1991(
    sd: float, coefficient: float, change: float, sem: float, of_change: float, index: float
) -> None:
    found = Reliability(sd, coefficient)
    assert found.standard_error == pytest.approx(sem, abs=5e-5)
    assert found.standard_error_of_change == pytest.approx(of_change, abs=5e-5)
    assert found.index(change) == pytest.approx(index, abs=5e-5)
    assert found.index(-change) == -found.index(change)
    assert found.is_reliable(change) and found.is_reliable(-change)
    assert not found.is_reliable(1.96 * of_change - 0.001)


@pytest.mark.parametrize(("sd", "coefficient"), [(0, 0.8), (-1, 0.8), (5, 1), (5, -0.1), (float("nan"), 0.8)])
def test_a_reliability_that_makes_no_sense_is_refused(sd: float, coefficient: float) -> None:
    said = r"^needs a standard deviation above 0 and a reliability from 0 to below 1$"
    with pytest.raises(ValueError, match=said):
        Reliability(sd, coefficient)


def test_a_small_spread_and_no_reliability_at_all_are_possible() -> None:
    assert Reliability(0.5, 0).standard_error == 0.5
    assert Reliability(0.5, 0.99).standard_error == pytest.approx(0.05)


def test_a_change_of_just_1_96_standard_errors_is_not_reliable() -> None:
    found = Reliability(7.5, 0.8)
    change = 1.96 * found.standard_error_of_change
    assert found.index(change) == 1.96
    assert not found.is_reliable(change)
    assert found.is_reliable(change * 1.000001)


def test_gains_are_compared_to_nine_decimals() -> None:
    assert gain(ASES, 0, 1.2345678949) == 1.234567895
    assert gain(ASES, 1.2345678949, 0) == -1.234567895


@pytest.mark.parametrize(
    ("before", "after", "word"),
    [
        (3, 10, "improved"),
        (3, 6, "improved"),
        (3, 5, "within measurement error"),
        (3, 3, "within measurement error"),
        (5, 3, "within measurement error"),
        (6, 3, "beyond measurement error"),
    ],
)
def test_the_word_by_a_threshold_and_the_measurement_error(before: int, after: int, word: str) -> None:
    assert compare(SST, before, after, matters=MCID, detectable=DETECTABLE).word == word


def test_a_detectable_change_that_does_not_matter_is_unchanged() -> None:
    large = threshold("scb", 5)
    assert compare(SST, 3, 6, matters=large, detectable=DETECTABLE).word == "unchanged"
    assert compare(SST, 3, 8, matters=large, detectable=DETECTABLE).word == "improved"


def test_measurement_error_is_exceeded_not_reached() -> None:
    """ "Should exceed": van Kampen et al., J Orthop Surg Res 2013;8:40, of the smallest detectable changes."""
    three = threshold("detectable_change", 3)
    assert compare(SST, 3, 6, matters=threshold("mcid", 2), detectable=three).word == "within measurement error"
    assert compare(SST, 6, 3, matters=threshold("mcid", 2), detectable=three).word == "within measurement error"
    assert compare(SST, 3, 7, matters=threshold("mcid", 2), detectable=three).word == "improved"


def test_a_change_that_stands_at_a_threshold_reaches_it() -> None:
    three = threshold("mcid", 3)
    assert compare(SST, 3, 6, matters=three).word == "improved"
    assert compare(SST, 6, 3, matters=three).word == IN_POINTS
    assert compare(SST, 9, 12, matters=three).no_room is False


def test_without_a_stated_measurement_error_a_small_change_is_unchanged() -> None:
    assert compare(SST, 3, 5, matters=MCID).word == "unchanged"


def test_the_last_bit_of_a_division_decides_nothing() -> None:
    """25/3 to 55/3 is 10, though the difference of the two floats is less."""
    assert 55 / 3 - 25 / 3 < 10
    assert compare(ASES, 25 / 3, 55 / 3, matters=threshold("mcid", 10)).word == "improved"


def test_a_change_is_compared_at_the_decimals_of_the_printed_threshold() -> None:
    """7 raw points of the QuickDASH are 7 x 25 / 11 = 15.909..., printed 15.91 by Franchignoni et al., J Orthop Sports Phys
    Ther 2014;44:30-39."""
    quickdash = library().instrument("quickdash").by_scale["total"]
    printed = threshold("mcid", 15.91)
    assert compare(quickdash, 50, 375 / 11, matters=printed).word == "improved"
    assert compare(quickdash, 50, 400 / 11, matters=printed).word == "unchanged"


@pytest.mark.parametrize(("after", "word"), [(2.24, "unchanged"), (2.25, "improved"), (-2.25, IN_POINTS)])
def test_a_half_beyond_the_last_decimal_counts_upwards(after: float, word: str) -> None:
    assert compare(ASES, 10, 10 + after, matters=threshold("mcid", 2.3)).word == word


def test_the_smallest_change_that_matters_may_be_less_than_a_point() -> None:
    half = threshold("mcid", 0.5)
    assert compare(ASES, 10, 10.5, matters=half).word == "improved"
    assert compare(ASES, 10, 10, matters=half).word == "unchanged"


def test_the_scale_of_change_is_the_main_one_unless_that_cannot_be_had_before_surgery() -> None:
    assert library().instrument("sst").scale_of_change == SST
    ucla = library().instrument("ucla")
    assert ucla.scale_of_change == ucla.scales[1] == ucla.by_scale["before_surgery"]


@pytest.mark.parametrize("after", [12.9, 12.5, 12.99])
def test_a_threshold_printed_as_a_whole_number_is_taken_as_it_stands(after: float) -> None:
    assert compare(ASES, 0, after, matters=threshold("mcid", 13)).word == "unchanged"


def test_measurement_error_is_exceeded_at_its_decimals() -> None:
    error = threshold("detectable_change", 2.8)
    words = [compare(ASES, 0, by, matters=threshold("mcid", 1), detectable=error).word for by in (2.84, 2.85)]
    assert words == ["within measurement error", "improved"]


def test_who_could_not_exceed_measurement_error_had_no_room_either() -> None:
    """SPADI: a difference of 13 matters and 18 is error; from 15 the best there is lies within error."""
    spadi = library().instrument("spadi").by_scale["total"]
    matters, error = threshold("mcid", 13), threshold("detectable_change", 18)
    found = [compare(spadi, before, 0, matters=matters, detectable=error) for before in (15, 18, 19)]
    assert [each.no_room for each in found] == [True, True, False]
    assert compare(spadi, 15, 0, matters=matters).no_room is False


@pytest.mark.parametrize(("before", "no_room"), [(9, False), (10, True), (12, True)])
def test_a_baseline_too_high_to_gain_the_threshold_is_marked(before: int, no_room: bool) -> None:
    assert compare(SST, before, 12, matters=MCID).no_room is no_room


def test_who_could_not_improve_is_counted_apart() -> None:
    pairs = [(3, 10), (4, 4), (8, 3), (9, 12), (11, 12), (12, 6), (5, 7)]
    found = count_comparisons(compare(SST, *pair, matters=MCID, detectable=DETECTABLE) for pair in pairs)
    assert (found.compared, found.improved, found.unchanged, found.worse, found.within_error) == (7, 2, 0, 1, 2)
    assert (found.no_room, found.no_room_worse) == (2, 1)


@given(st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12))))
def test_everybody_is_counted_once(pairs: list[tuple[int, int]]) -> None:
    found = count_comparisons(compare(SST, *pair, matters=MCID, detectable=DETECTABLE) for pair in pairs)
    parts = found.improved + found.unchanged + found.worse + found.within_error + found.no_room
    assert parts == found.compared == len(pairs)


@given(st.integers(0, 12), st.integers(0, 12))
def test_measurement_error_is_the_same_either_way_and_a_loss_has_no_word_of_improvement(
    before: int, after: int
) -> None:
    gained, lost = max(before, after), min(before, after)
    up = compare(SST, lost, gained, matters=MCID, detectable=DETECTABLE).word
    down = compare(SST, gained, lost, matters=MCID, detectable=DETECTABLE).word
    assert down == (WITHIN_ERROR if up == WITHIN_ERROR else BEYOND_ERROR)


@pytest.mark.parametrize(
    ("matters", "detectable", "said"),
    [
        (threshold("pass", 8), None, "a threshold of kind pass on total"),
        (threshold("detectable_change", 2.8), None, "a threshold of kind detectable_change on total"),
        (threshold("mcid", 2, "pain"), None, "a threshold of kind mcid on pain"),
        (MCID, MCID, "a threshold of kind mcid on total"),
        (MCID, threshold("detectable_change", 2, "pain"), "a threshold of kind detectable_change on pain"),
    ],
)
def test_a_threshold_of_another_kind_or_scale_is_refused(
    matters: Threshold, detectable: Threshold | None, said: str
) -> None:
    with pytest.raises(ValueError, match=f"^{said} says nothing of it on total$"):
        compare(SST, 3, 6, matters=matters, detectable=detectable)


def course(scale: Scale, *points: tuple[str, float | None]) -> list[Change]:
    return list(changes_over_time(scale, [Point(code, value, code.startswith("baseline")) for code, value in points]))


def test_change_is_told_against_the_baseline_and_the_score_before() -> None:
    first, second = course(SST, ("baseline", 2), ("year-1", 10), ("year-2", None), ("year-3", 9))
    assert first == Change("year-1", 8, 80, 8, "baseline")
    assert second == Change("year-3", 7, 70, -1, "year-1")


def test_without_a_baseline_there_is_change_since_the_score_before_only() -> None:
    first, second = course(SST, ("baseline", None), ("year-1", 10), ("year-2", 11))
    assert first == Change("year-1", None, None, None, None)
    assert second == Change("year-2", None, None, 1, "year-1")


def test_the_last_baseline_with_a_score_counts() -> None:
    (only,) = course(PAIN, ("baseline", 9), ("baseline-2", 8), ("baseline-3", None), ("year-1", 2))
    assert only == Change("year-1", 6, 75, 6, "baseline-2")


def test_a_point_is_no_baseline_unless_it_is_said_to_be_one() -> None:
    assert changes_over_time(SST, [Point("year-1", 9)]) == (Change("year-1", None, None, None, None),)


def test_ceiling_and_floor_are_counted_by_what_is_better() -> None:
    found = count_ends(PAIN, [0, 0, 3, 10, None])
    assert (found.scores, found.at_best, found.at_worst) == (4, 2, 1)
    found = count_ends(SST, [12, 0, 0, 5])
    assert (found.scores, found.at_best, found.at_worst) == (4, 1, 2)
