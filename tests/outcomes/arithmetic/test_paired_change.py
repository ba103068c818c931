"""Change of a group from pairs of scores."""

import json
import statistics
from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.outcomes.arithmetic.paired import (
    HIGHER,
    LOWER,
    PairsProblem,
    Range,
    change_document,
    paired_change,
    possible_improvement,
    read_pairs,
    reliable_counts,
)

scores = st.integers(0, 1000).map(lambda tenths: tenths / 10)


def csv_of(*pairs: tuple[object, object]) -> str:
    return "before,after\n" + "".join(f"{before},{after}\n" for before, after in pairs)


def test_five_people_by_hand() -> None:
    """Before 2 4 4 6 9: mean 5, sum of squares 28; change 8 2 4 4 2: mean 4, sum of squares 24."""
    found = paired_change([(2, 10), (4, 6), (4, 8), (6, 10), (9, 11)])
    assert (found.n, found.mean_before, found.mean_after, found.mean_change) == (5, 5, 9, 4)
    assert found.sd_before == pytest.approx(sqrt(28 / 4))
    assert found.sd_change == pytest.approx(sqrt(24 / 4))
    assert found.effect_size == pytest.approx(4 / sqrt(7))
    assert found.srm == pytest.approx(4 / sqrt(6))


@pytest.mark.parametrize(
    ("before", "sd", "after", "size"),
    [(3.9, 2.8, 10.2, 2.25), (53.1, 17.2, 75.9, 1.326), (30.1, 10.7, 58.4, 2.645)],
)
def test_effect_size_of_published_cohorts(before: float, sd: float, after: float, size: float) -> None:
    """408 arthroplasties by the SST (doi 10.1016/j.jse.2017.03.029); Constant after cuff repair (Kukkonen 2013) and after
    reverse arthroplasty: mean change / standard deviation before."""
    found = paired_change([(before - sd / sqrt(2), after), (before + sd / sqrt(2), after)])
    assert found.sd_before == pytest.approx(sd)
    assert found.effect_size == pytest.approx(size, abs=5e-4)


@pytest.mark.parametrize(
    ("before", "sd", "after", "size"), [(21.4, 6.0, 38.8, 2.9), (13.3, 6.6, 27.2, 2.1), (13.7, 4.6, 28.0, 3.1)]
)
def test_effect_size_of_hemiarthroplasty_in_rees_2010(before: float, sd: float, after: float, size: float) -> None:
    """Oxford score in osteoarthritis with the cuff intact and torn and in rheumatoid arthritis, J Bone Joint Surg Br
    2010;92:1107-1111. Means and effect sizes are printed, to one decimal; the standard deviations follow from them."""
    found = paired_change([(before - sd / sqrt(2), after), (before + sd / sqrt(2), after)])
    assert found.effect_size == pytest.approx(size, abs=0.05)


@pytest.mark.parametrize(
    ("sd", "reliability", "change", "standard_error", "of_change", "index"),
    [(7.5, 0.8, 15, 3.3541, 4.7434, 3.1623), (5, 0.8, 8, 2.2361, 3.1623, 2.5298)],
)
def test_reliable_change_of_jacobson_and_truax_1991(
    sd: float, reliability: float, change: float, standard_error: float, of_change: float, index: float
) -> None:
    """Standard deviation and reliability are those of two R packages' examples; the rest is the formula."""
    pairs = [(50 - sd / sqrt(2), 50.0), (50 + sd / sqrt(2), 50.0)]
    found = reliable_counts(pairs, reliability)
    assert found is not None
    assert found.smallest_change / 1.96 == pytest.approx(of_change, abs=5e-5)
    assert found.smallest_change / 1.96 / sqrt(2) == pytest.approx(standard_error, abs=5e-5)
    assert change / (found.smallest_change / 1.96) == pytest.approx(index, abs=5e-5)


def test_reliable_change_counts_both_ways_and_not_what_lies_within_error() -> None:
    """Standard deviation before 10 and reliability 0.8: a change beyond 12.396."""
    before = [40 - sqrt(150), 40.0, 40.0, 40 + sqrt(150)]
    pairs = list(zip(before, (before[0] + 12.4, 27.5, 52.3, before[3] - 12.39), strict=True))
    found = reliable_counts(pairs, 0.8)
    assert found is not None
    assert (found.improved, found.worse) == (1, 1)
    assert found.smallest_change == pytest.approx(12.396, abs=5e-4)


def test_the_possible_improvement_leaves_out_whom_nothing_was_left_to_gain() -> None:
    """9 to 10 of 12 is 33.33 percent and 2 to 10 is 80 (shoulderarthritis.blogspot.com, June 2023)."""
    found = possible_improvement([(9, 10), (2, 10), (12, 11)], 12)
    assert found.mean_percent == pytest.approx((100 / 3 + 80) / 2)
    assert (found.undefined, found.undefined_worse) == (1, 1)
    assert list(possible_improvement([(12, 12)], 12)) == [None, None, 1, 0]


def test_the_median_of_the_possible_improvement_is_no_mean() -> None:
    """Of 12: 50, 100 and -300 percent."""
    found = possible_improvement([(6, 9), (2, 12), (11, 8)], 12)
    assert found.mean_percent == -50
    assert found.median_percent == 50


def test_where_less_is_better_the_possible_improvement_is_down_to_the_best() -> None:
    """Of a pain of 8, 6 less is 75 percent of what was possible; from 4 up to 5 is -25."""
    found = possible_improvement([(8, 2), (4, 5), (0, 3), (0, 0)], 0, LOWER)
    assert list(found) == [25, 25, 2, 1]
    with pytest.raises(PairsProblem, match="a score lies below the minimum 1"):
        possible_improvement([(8, 0)], 1, LOWER)


def test_the_document_says_which_scores_are_better() -> None:
    pairs = csv_of((9, 10), (2, 10))
    assert [change_document(pairs, better=each)["better"] for each in (HIGHER, LOWER)] == ["higher", "lower"]
    assert change_document(pairs)["better"] == "higher"


def test_where_less_is_better_a_fall_is_the_reliable_improvement() -> None:
    """Before 60 70 50 60 60 60: standard deviation the root of 40, so a change beyond 1.96 x sqrt(2 x 40 x 0.1) = 5.54 at 0.9."""
    pairs = [(60.0, 30.0), (70.0, 40.0), (50.0, 51.0), (60.0, 69.0), (60.0, 52.0), (60.0, 60.0)]
    lower, higher = reliable_counts(pairs, 0.9, LOWER), reliable_counts(pairs, 0.9, HIGHER)
    assert lower is not None and higher is not None
    assert (lower.improved, lower.worse) == (higher.worse, higher.improved) == (3, 1)
    assert lower.smallest_change == higher.smallest_change == pytest.approx(1.96 * sqrt(8))


@given(st.lists(st.tuples(scores, scores), min_size=2, max_size=40))
def test_it_agrees_with_the_standard_library(pairs: list[tuple[float, float]]) -> None:
    found = paired_change(pairs)
    before, changes = [first for first, _ in pairs], [second - first for first, second in pairs]
    assert found.mean_before == pytest.approx(statistics.mean(before), abs=1e-9)
    assert found.sd_before == pytest.approx(statistics.stdev(before), abs=1e-6)
    assert found.sd_change == pytest.approx(statistics.stdev(changes), abs=1e-6)
    assert found.mean_change == pytest.approx(found.mean_after - found.mean_before, abs=1e-9)


@given(st.lists(st.tuples(scores, scores), min_size=2, max_size=20), st.floats(0, 0.99))
def test_turning_time_round_turns_change_round(pairs: list[tuple[float, float]], reliability: float) -> None:
    turned = paired_change([(after, before) for before, after in pairs])
    assert turned.mean_change == -paired_change(pairs).mean_change
    assert turned.sd_change == paired_change(pairs).sd_change
    counts = reliable_counts(pairs, reliability)
    assert counts is None or counts.improved + counts.worse <= len(pairs)


def test_equal_changes_have_no_spread_and_no_response_mean() -> None:
    """0.1 + 0.2 is not 0.3 in binary; as written it is."""
    found = paired_change([(0.1, 0.3), (0.2, 0.4), (0.7, 0.9)])
    assert (found.mean_change, found.sd_change, found.srm) == (0.2, 0, None)


def test_one_pair_has_means_only() -> None:
    found = paired_change([(3, 9)])
    assert (found.n, found.mean_change, found.sd_before, found.effect_size, found.srm) == (1, 6, None, None, None)
    assert reliable_counts([(3, 9)], 0.9) is None


def test_the_document_has_everything_that_was_asked_for_and_can_be_written_as_json() -> None:
    document = change_document(csv_of((9, 10), (2, 10), (5, ""), (12, 12)), within=Range(0, 12), reliability=0.9)
    promised = ["n", "mean_before", "sd_before", "mean_after", "mean_change", "sd_change", "effect_size", "srm"]
    assert set(promised) | {"reliable_improved", "reliable_worse"} <= set(document)
    assert (document["n"], document["incomplete"], document["percent_undefined"]) == (3, 1, 1)
    assert (document["reliable_improved"], document["reliable_worse"]) == (1, 0)
    assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_what_was_not_asked_for_is_none() -> None:
    document = change_document(csv_of((9, 10), (2, 10)))
    assert {name for name, value in document.items() if value is None} == {
        "reliable_improved",
        "reliable_worse",
        "reliable_change",
        "mean_percent_of_possible",
        "median_percent_of_possible",
        "percent_undefined",
        "percent_undefined_worse",
    }


def test_other_columns_a_byte_order_mark_and_spaces_do_no_harm() -> None:
    assert read_pairs("before,after\n1,2,\n") == ([(1, 2)], 0)
    assert read_pairs("\ufeffid, after ,before\r\n1, 10 ,2\r\n\r\n2,,3\r\n") == ([(2, 10)], 1)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "the first line must name"),
        ("pre,post\n1,2\n", "the first line must name the columns before and after once; it has: pre, post"),
        ("before,after,before\n1,2,3\n", "must name the columns before and after once"),
        ("before,after\n", "there is no pair"),
        ("before,after\n1,\n", "there is no pair"),
        ("before,after\n1,2\n3,four\n", "line 3: after is not a number that a score can have: 'four'"),
        ("before,after\nnan,2\n", "line 2: before is not a number"),
        ("before,after\n1e400,2\n", "line 2: before is not a number"),
        ("before,after\n1e12,2\n", "line 2: before is not a number"),
        ("before,after\n1_0,2\n", "line 2: before is not a number"),
        ("before,after\n\u0661,2\n", "line 2: before is not a number that a score can have: '\\\\u0661'"),
        ('before,after\n1,"3,5"\n', "line 2: after is not a number that a score can have: '3,5'"),
        ('before,after\n1,"2\n', "is not CSV"),
        ("before,after\n1,2\n", "there is only one pair"),
        ("before;after\n1;2\n", "separated by semicolons"),
        ("before,after\n3,5,7,2\n", "line 2 has more values than columns are named"),
    ],
)
def test_pairs_that_cannot_be_read_are_refused_with_their_line(text: str, message: str) -> None:
    with pytest.raises(PairsProblem, match=message):
        change_document(text)


@pytest.mark.parametrize(
    ("maximum", "reliability", "message"),
    [(9, None, "above the maximum 9"), (None, 1, "reliability"), (None, -0.1, "reliability")],
)
def test_options_that_make_no_sense_are_refused(maximum: float | None, reliability: float | None, message: str) -> None:
    with pytest.raises(PairsProblem, match=message):
        change_document(csv_of((9, 10), (2, 3)), within=Range(high=maximum), reliability=reliability)
