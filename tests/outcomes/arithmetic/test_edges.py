"""Where one answer ends and the next begins, and the words of what is refused."""

import pytest

from server.outcomes.arithmetic.paired import (
    PairsProblem,
    Range,
    change_document,
    possible_improvement,
    read_pairs,
    reliable_counts,
)
from server.outcomes.arithmetic.proportion import proportion_document, wilson


def refusal(text: str) -> str:
    with pytest.raises(PairsProblem) as caught:
        read_pairs(text)
    return str(caught.value)


def test_a_change_of_just_1_96_standard_errors_is_not_reliable() -> None:
    """0 and 3 before: standard deviation 2.1213, and without any reliability a standard error of change of 3."""
    found = reliable_counts([(0, 5.88), (3, 3)], 0)
    assert found is not None
    assert found.smallest_change == pytest.approx(5.88)
    assert (found.improved, found.worse) == (0, 0)
    beyond = reliable_counts([(0, 5.89), (3, 3)], 0)
    assert beyond is not None
    assert (beyond.improved, beyond.worse) == (1, 0)


def test_a_score_may_be_a_thousand_million_and_no_more() -> None:
    assert read_pairs("before,after\n1000000000,-1000000000\n") == ([(1e9, -1e9)], 0)
    said = "line 2: before is not a number that a score can have: "
    assert refusal("before,after\n1000000000.5,2\n") == f"{said}'1000000000.5'"
    assert refusal("before,after\n-1000000001,2\n") == f"{said}'-1000000001'"


def test_a_score_is_0_or_a_thousand_millionth_and_no_less() -> None:
    """Smaller ones, divided by one another, lie beyond what a number can hold."""
    assert read_pairs("before,after\n0.000000001,-1e-9\n0,-0.0\n") == ([(1e-9, -1e-9), (0, 0)], 0)
    said = "line 2: before is not a number that a score can have: "
    assert refusal("before,after\n-1e-320,-1000\n") == f"{said}'-1e-320'"
    assert refusal("before,after\n0.0000000009,1\n") == f"{said}'0.0000000009'"


def test_what_is_no_number_is_shown_by_its_beginning() -> None:
    said = "line 2: after is not a number that a score can have: "
    assert refusal(f"before,after\n1,{'x' * 60}\n") == f"{said}'{'x' * 39}"


def test_a_score_at_either_end_of_the_range_is_taken_and_one_outside_is_told_with_its_line() -> None:
    within = Range(0.0, 10.0)
    assert read_pairs("before,after\n0,10\n", within) == ([(0, 10)], 0)
    with pytest.raises(PairsProblem, match=r"^line 3: before is 11, above the maximum 10$"):
        read_pairs("before,after\n1,2\n11,2\n", within)
    with pytest.raises(PairsProblem, match=r"^line 2: after is -3, below the minimum 0$"):
        read_pairs("before,after\n1,-3\n", within)


def test_numbers_that_elsewhere_stand_for_a_missing_value_are_told_as_such_outside_the_range_alone() -> None:
    """Ones, and rows of sevens, eights and nines, as the codebooks of surveys have them."""
    said = "above the maximum 5, and a common code for a missing value; leave the cell empty where a score is missing"
    assert Range(0, 5).problem(99) == said
    told = {value for value in range(-10_000, 10_001) if "common code" in (Range(0, 5).problem(value) or "")}
    below = {-1, -7, -8, -9, -66, -77, -88, -98, -99, -777, -888, -999, -9999}
    assert told == below | {9, 99, 777, 888, 999, 9999}
    assert Range(0, 10).problem(9) is None


@pytest.mark.parametrize(("low", "high"), [(5.0, 5.0), (6.0, 5.0)])
def test_a_range_needs_its_minimum_below_its_maximum(low: float, high: float) -> None:
    with pytest.raises(PairsProblem, match=rf"^the minimum {low:g} is not below the maximum 5$"):
        change_document("before,after\n1,2\n2,4\n", within=Range(low, high))
    assert change_document("before,after\n1,2\n2,4\n", within=Range(low=0))["n"] == 2


def test_a_byte_order_mark_is_no_part_of_the_first_column() -> None:
    assert read_pairs("\ufeffbefore,after\n1,2\n") == ([(1, 2)], 0)


def test_both_columns_must_be_named() -> None:
    said = "the first line must name the columns before and after once; it has: "
    assert refusal("before,post\n1,2\n") == f"{said}before, post"
    assert refusal("pre,after\n1,2\n") == f"{said}pre, after"


def test_what_is_no_csv_is_told_with_its_line() -> None:
    assert refusal('before,after\n1,2\n1,"2\n') == "line 3 is not CSV: unexpected end of data"


@pytest.mark.parametrize("maximum", [9, 9.0])
def test_a_score_above_the_maximum_is_told_without_idle_decimals(maximum: float) -> None:
    with pytest.raises(PairsProblem, match=r"^a score lies above the maximum 9$"):
        possible_improvement([(9, 10)], maximum)
    assert possible_improvement([(8, 9)], maximum).mean_percent == 100


def test_the_document_says_which_way_is_better() -> None:
    assert change_document("before,after\n1,2\n2,4\n")["better"] == "higher"


@pytest.mark.parametrize(("better", "positive"), [("higher", "better"), ("lower", "worse")])
def test_the_document_says_what_a_positive_change_is(better: str, positive: str) -> None:
    found = change_document("before,after\n1,2\n2,4\n", better=better)
    assert found["positive_change_is"] == positive and found["mean_change"] > 0 and found["effect_size"] > 0


def test_the_document_says_how_its_numbers_are_formed() -> None:
    """The index: Jacobson and Truax, J Consult Clin Psychol 1991;59:12-19."""
    text = "before,after\n1,2\n2,4\n"
    of_all = "change = after - before; sd with n - 1; effect_size = mean change / sd before; srm = mean change / sd of the change"
    index = "reliable: |change| > 1.96 x sd before x sqrt(2) x sqrt(1 - reliability) (Jacobson and Truax 1991)"
    plain, reliable = change_document(text)["method"], change_document(text, reliability=0.9)["method"]
    assert plain.startswith(f"{of_all}; limits 95%")
    assert reliable == f"{plain}; {index}"


@pytest.mark.parametrize("level", [0.9, 0.95, 0.99])
def test_the_limits_of_none_and_of_all_are_the_ends_themselves(level: float) -> None:
    sizes = range(1, 60)
    assert [(wilson(0, n, level).lower, wilson(n, n, level).upper) for n in sizes] == [(0, 1)] * len(sizes)


def test_the_document_has_a_level_of_95_percent_unless_another_is_asked_for() -> None:
    method = "Wilson score interval without continuity correction, level "
    found = proportion_document(5, 10)
    assert (found["lower"], found["upper"]) == tuple(wilson(5, 10, 0.95)[1:])
    assert found["method"] == f"{method}0.95"
    assert proportion_document(5, 10, 0.3)["method"] == f"{method}0.3"


FIRST_LINE = "the first line must name the columns before and after once; "


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "it is empty"),
        ("\n", "it is empty"),
        ("a" * 81 + "\n", "it has: " + "a" * 80),
        ("a" * 80 + "\n", "it has: " + "a" * 80),
        ("pre;post\n", "it has: pre;post. The values are separated by semicolons; save the file with commas"),
        ("before\tafter\n", "it has: before\\tafter. The values are separated by tabs; save the file with commas"),
    ],
)
def test_a_first_line_without_the_two_columns_is_shown_and_its_signs_named(text: str, said: str) -> None:
    assert refusal(text) == FIRST_LINE + said


@pytest.mark.parametrize("level", [0, 1, -0.5, 1.5, 0.9999999999999999])
def test_a_level_at_which_no_limit_can_be_formed_is_refused_in_words(level: float) -> None:
    """The last one is below 1, but half of it and 1 is not."""
    with pytest.raises(ValueError, match=r"^the level lies between 0 and 1, such as 0\.95$"):
        wilson(1, 2, level)
