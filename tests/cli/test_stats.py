"""`yearmark stats`: contract 3, by published values, and what it refuses."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.shell import Shell, refusal

# Contract 3 promises these, then whatever else is formed.
PROMISED = [
    "n", "mean_before", "sd_before", "mean_after", "mean_change", "sd_change", "effect_size", "srm",
    "reliable_improved", "reliable_worse",
]  # fmt: skip


def proportion(shell: Shell, *words: str) -> dict[str, Any]:
    said = shell.run("stats", "proportion", *words)
    assert said.exit_code == 0, said.output
    found: dict[str, Any] = json.loads(said.stdout)
    return found


def change(shell: Shell, pairs: str, *words: str) -> dict[str, Any]:
    """`pairs`: "9,10 2,10"."""
    said = shell.run("stats", "change", "-", *words, given="\n".join(["before,after", *pairs.split(), ""]))
    assert said.exit_code == 0, said.output
    found: dict[str, Any] = json.loads(said.stdout)
    return found


@pytest.mark.parametrize(
    ("words", "lower", "upper"),
    [
        (("32", "32"), 0.8928208, 1),
        (("0", "32"), 0, 0.1071792),
        (("5", "10", "--level", "0.9"), 0.2692718, 0.7307282),
    ],
)
def test_wilson_limits_printed_by_an_r_package_after_newcombe_1998(
    shell: Shell, words: tuple[str, ...], lower: float, upper: float
) -> None:
    """Snapshots of the R package cards; the method is that of Newcombe, Stat Med 1998;17:857-872."""
    found = proportion(shell, *words)
    assert list(found) == ["k", "n", "estimate", "lower", "upper", "method"]
    assert (found["k"], found["n"]) == (int(words[0]), int(words[1]))
    assert (found["lower"], found["upper"]) == (pytest.approx(lower, abs=5e-8), pytest.approx(upper, abs=5e-8))
    assert found["estimate"] == int(words[0]) / int(words[1])


@pytest.mark.parametrize(("k", "n", "percent"), [(33, 42, 79), (42, 48, 88), (261, 301, 87), (208, 301, 69)])
def test_percentages_of_published_cohorts(shell: Shell, k: int, n: int, percent: int) -> None:
    """CORR 2016, PMC5085940 (33 of 42 reached the improvement, 42 of 48 were followed); Cole 2022 (acceptable state)."""
    assert int(proportion(shell, str(k), str(n))["estimate"] * 100 + 0.5) == percent


def test_the_level_that_was_used_is_named(shell: Shell) -> None:
    assert "level 0.95" in proportion(shell, "5", "10")["method"]
    assert "level 0.999" in proportion(shell, "5", "10", "--level", "0.999")["method"]


@pytest.mark.parametrize(
    ("before", "standard_error_of_change", "gain", "index"),
    [((42.5, 50, 57.5), 4.7434, 15, 3.1623), ((45, 50, 55), 3.1623, 8, 2.5298)],
)
def test_reliable_change_of_jacobson_and_truax_1991(
    shell: Shell, before: tuple[float, ...], standard_error_of_change: float, gain: float, index: float
) -> None:
    """J Consult Clin Psychol 1991;59:12-19, by the standard deviations (7.5 and 5) and the reliability of two R packages."""
    first, second, third = before
    pairs = f"{first},{first + gain} {second},{second - gain} {third},{third + 1.96 * standard_error_of_change - 0.01}"
    found = change(shell, pairs, "--reliability", "0.8")
    assert found["reliable_change"] == pytest.approx(1.96 * standard_error_of_change, abs=1e-4)
    assert gain / (found["reliable_change"] / 1.96) == pytest.approx(index, abs=5e-5)
    assert (found["reliable_improved"], found["reliable_worse"]) == (1, 1)


@pytest.mark.parametrize(
    ("pairs", "size"),
    [
        ("1.1,10.2 3.9,10.2 6.7,10.2", 2.25),
        ("35.9,75.9 53.1,75.9 70.3,75.9", 1.326),
        ("19.4,58.4 30.1,58.4 40.8,58.4", 2.645),
    ],
)
def test_effect_sizes_of_published_cohorts(shell: Shell, pairs: str, size: float) -> None:
    """Mean and standard deviation before, mean after: the shoulder test, doi 10.1016/j.jse.2017.03.029; the Constant score,
    Kukkonen 2013 (doi 10.1016/j.jse.2013.05.002), and after reverse arthroplasty (doi 10.1016/j.jse.2015.07.020)."""
    assert change(shell, pairs)["effect_size"] == pytest.approx(size, abs=5e-4)


def test_percent_of_the_possible_improvement_printed_in_blog_2023(shell: Shell) -> None:
    """shoulderarthritis.blogspot.com, June 2023: 9 to 10 of 12 is 33 percent, 2 to 10 is 80."""
    found = change(shell, "9,10 2,10 12,12", "--max", "12")
    assert found["mean_percent_of_possible"] == pytest.approx((100 / 3 + 80) / 2)
    assert (found["percent_undefined"], found["percent_undefined_worse"], found["better"]) == (1, 0, "higher")
    assert found["median_percent_of_possible"] == found["mean_percent_of_possible"]


def test_who_got_worse_from_the_best_score_is_counted_though_no_percent_can_say_it(shell: Shell) -> None:
    found = change(shell, "12,4 12,5 6,12", "--max", "12")
    assert (found["mean_change"], found["mean_percent_of_possible"]) == (-3, 100)
    assert (found["percent_undefined"], found["percent_undefined_worse"]) == (2, 2)


def test_where_less_is_better_it_is_said_once(shell: Shell) -> None:
    pairs = "60,30 70,40 50,45"
    found = change(shell, pairs, "--better", "lower", "--min", "0", "--reliability", "0.9")
    assert (found["better"], found["reliable_improved"], found["reliable_worse"]) == ("lower", 2, 0)
    assert found["mean_percent_of_possible"] == pytest.approx((50 + 300 / 7 + 10) / 3)
    assert found["mean_change"] == pytest.approx(-65 / 3)
    assert found["positive_change_is"] == "worse" and found["effect_size"] < 0
    assert found["method"].startswith("change = after - before; sd with n - 1;") and "reliable" in found["method"]
    assert "reliable" not in change(shell, pairs)["method"]
    other = change(shell, pairs, "--reliability", "0.9")
    assert (other["reliable_worse"], other["positive_change_is"]) == (2, "better")


@pytest.mark.parametrize(("better", "percent"), [("higher", (100 / 3 + 80) / 2), ("lower", (-100 / 9 - 400) / 2)])
def test_both_ends_of_the_range_can_be_said_whichever_is_the_best(shell: Shell, better: str, percent: float) -> None:
    """9 to 10 and 2 to 10 of 0 to 12 (shoulderarthritis.blogspot.com, June 2023); the other way a ninth, and four times, the wrong way."""
    found = change(shell, "9,10 2,10", "--better", better, "--min", "0", "--max", "12")
    assert found["mean_percent_of_possible"] == pytest.approx(percent)


def test_the_end_that_is_not_the_best_only_guards(shell: Shell) -> None:
    assert change(shell, "9,10 2,10", "--min", "0") == change(shell, "9,10 2,10")


@pytest.mark.parametrize(
    ("pairs", "said"),
    [
        ("9,10 2,999", "line 3: after is 999, above the maximum 100, and a common code for a missing value"),
        ("-9,10 2,10", "line 2: before is -9, below the minimum 0, and a common code for a missing value"),
        ("9,10 2,101", "line 3: after is 101, above the maximum 100"),
    ],
)
def test_a_code_for_a_missing_value_is_refused_by_its_name(shell: Shell, pairs: str, said: str) -> None:
    given = "before,after\n" + pairs.replace(" ", "\n")
    assert said in refusal(shell.run("stats", "change", "-", "--min", "0", "--max", "100", given=given))


def test_a_score_inside_the_range_is_a_score_even_where_it_looks_like_a_code(shell: Shell) -> None:
    assert change(shell, "9,99 2,10", "--min", "0", "--max", "100")["mean_after"] == 54.5


def test_five_people_by_hand(shell: Shell) -> None:
    """Before 2 4 4 6 9: mean 5, sum of squares 28; change 8 2 4 4 2: mean 4, sum of squares 24."""
    found = change(shell, "2,10 4,6 4,8 6,10 9,11")
    assert [found[name] for name in ("n", "mean_before", "mean_after", "mean_change")] == [5, 5, 9, 4]
    assert (found["sd_before"], found["sd_change"]) == (pytest.approx(7**0.5), pytest.approx(6**0.5))
    assert (found["effect_size"], found["srm"]) == (pytest.approx(4 / 7**0.5), pytest.approx(4 / 6**0.5))


def test_every_promised_member_is_there_and_null_where_it_was_not_asked_for(shell: Shell) -> None:
    found = change(shell, "2,10 4,6")
    assert [name for name in found if name in PROMISED] == PROMISED
    assert (found["reliable_improved"], found["mean_percent_of_possible"]) == (None, None)


def test_a_file_with_a_byte_order_mark_other_columns_and_blanks_is_read(shell: Shell, tmp_path: Path) -> None:
    (tmp_path / "pairs.csv").write_bytes(
        b"\xef\xbb\xbfstudy number, after ,before\r\n1,10,2\r\n2,,4\r\n\r\n3,6,4\r\n,,\r\n"
    )
    said = shell.run("stats", "change", str(tmp_path / "pairs.csv"))
    found = json.loads(said.stdout)
    assert (found["n"], found["incomplete"], found["mean_change"]) == (2, 2, 5)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("6", "5"), "needs 0 <= K <= N"),
        (("0", "0"), "N of at least 1"),
        (("-1", "5"), "K is '-1'; it must be a whole number"),
        (("3.0", "5"), "K is '3.0'"),
        (("three", "5"), "K is 'three'"),
        (("1", "nan"), "N is 'nan'"),
        (("1", "1_0"), "N is '1_0'"),
        (("\u0663", "5"), "K is '\\u0663'"),
        (("1", "1000000000000"), "at most 9 digits"),
        (("1", "5", "--level", "0"), "the level lies between 0 and 1"),
        (("1", "5", "--level", "1"), "the level lies between 0 and 1"),
        (("1", "5", "--level", "95"), "the level lies between 0 and 1, such as 0.95"),
        (("1", "5", "--level", "-0.5"), "the level lies between 0 and 1"),
        (("1", "5", "--level", "0.9999999999999999999"), "the level lies between 0 and 1"),
        (("1", "5", "--level", "0.9999999999999999"), "the level lies between 0 and 1"),
        (("1", "5", "--level", "0,95"), "--level is '0,95'; it must be a number such as 0.9 or 12, with a decimal point"),
        (("1", "5", "--level", "nan"), "--level is 'nan'"),
        (("1", "5", "--level", "\u0660.\u0669"), "--level is '\\u0660.\\u0669'"),
    ],
)  # fmt: skip
def test_what_is_no_proportion_is_refused_in_plain_words(shell: Shell, words: tuple[str, ...], says: str) -> None:
    assert says in refusal(shell.run("stats", "proportion", *words))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "the first line must name the columns before and after once; it is empty"),
        ("pre,post\n1,2\n3,4\n", "it has: pre, post"),
        ("before\n1\n2\n", "it has: before"),
        ("before;after\n1;2\n3;4\n", "The values are separated by semicolons; save the file with commas"),
        ("before\tafter\n1\t2\n", "The values are separated by tabs"),
        ("before,after\n", "there is no pair with both scores"),
        ("before,after\n1,2\n", "there is only one pair"),
        ("before,after\n1,2\n3,\n", "there is only one pair"),
        ("before,after\n1,2\n3,four\n", "line 3: after is not a number that a score can have: 'four'"),
        ("before,after\nnan,2\n3,4\n", "line 2: before is not a number that a score can have: 'nan'"),
        ("before,after\n1,-inf\n3,4\n", "line 2: after is not a number that a score can have: '-inf'"),
        ("before,after\n1,2\n\u0663,4\n", "line 3: before is not a number that a score can have: '\\u0663'"),
        ("before,after\n3,5,7,2\n4,5,8,2\n", "line 2 has more values than columns are named"),
        ('before,after\n"3,5","7,2"\n', "line 2: before is not a number that a score can have: '3,5'"),
        ('before,after\n1,"2\n', "is not CSV"),
        ("before,after\n1,2\n\x00,4\n", "line 3: before is not a number that a score can have: '\\x00'"),
    ],
)
def test_pairs_that_cannot_be_read_are_refused_in_plain_words(shell: Shell, text: str, says: str) -> None:
    said = refusal(shell.run("stats", "change", "-", given=text))
    assert says in said
    assert len(said.splitlines()) == 1


def test_a_file_that_is_not_utf_8_is_refused(shell: Shell, tmp_path: Path) -> None:
    (tmp_path / "pairs.csv").write_bytes("before,after\n1,2\n".encode("utf-16"))
    said = refusal(shell.run("stats", "change", str(tmp_path / "pairs.csv")))
    assert "not UTF-8 text (byte 1)" in said


def test_a_file_that_is_not_there_is_refused(shell: Shell, tmp_path: Path) -> None:
    assert "No such file" in refusal(shell.run("stats", "change", str(tmp_path / "none.csv")))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--min", "3"), "line 3: before is 2, below the minimum 3"),
        (("--better", "lower", "--max", "9"), "line 2: after is 10, above the maximum 9"),
        (("--better", "lower", "--min", "3"), "line 3: before is 2, below the minimum 3"),
        (("--min", "12", "--max", "12"), "the minimum 12 is not below the maximum 12"),
        (("--min", "low"), "--min is 'low'"),
        (("--better", "sideways"), "sideways"),
        (("--max", "9"), "line 2: after is 10, above the maximum 9"),
        (("--max", "nan"), "--max is 'nan'"),
        (("--max", "inf"), "--max is 'inf'"),
        (("--max", "1e400"), "--max is '1e400'"),
        (("--reliability", "1"), "a reliability lies from 0 to below 1"),
        (("--reliability", "-0.1"), "a reliability lies from 0 to below 1"),
        (("--reliability", "high"), "--reliability is 'high'"),
    ],
)
def test_options_that_make_no_sense_are_refused(shell: Shell, words: tuple[str, ...], says: str) -> None:
    assert says in refusal(shell.run("stats", "change", "-", *words, given="before,after\n9,10\n2,3\n"))
