"""`yearmark stats preference` and `deaths`: exact answers from counts, and what they refuse."""

import json

import pytest

from tests.cli.shell import Shell, refusal


def test_14_against_5_with_the_ties_beside(shell: Shell) -> None:
    """binom.test(14, 19) in R 4.2."""
    said = shell.run("stats", "preference", "14", "5", "--ties", "3")
    assert said.exit_code == 0, said.output
    found = json.loads(said.stdout)
    assert [round(found[name], 6) for name in ("lower", "upper")] == [0.487971, 0.908534]
    assert (round(found["p"], 7), found["estimate"]) == (0.0635681, 14 / 19)
    assert (found["with_preference"], found["ties"]) == (19, 3)
    assert "Clopper" in found["method"]


def test_ties_that_were_not_said_are_null(shell: Shell) -> None:
    assert json.loads(shell.run("stats", "preference", "1", "0").stdout)["ties"] is None


def test_5_deaths_where_26_were_expected(shell: Shell) -> None:
    """poisson.test(5, T=26) in R 4.2."""
    said = shell.run("stats", "deaths", "5", "26.0")
    assert said.exit_code == 0, said.output
    found = json.loads(said.stdout)
    assert [round(found[name], 6) for name in ("lower", "upper")] == [0.062442, 0.448782]
    assert (found["observed"], found["expected"], found["ratio"]) == (5, 26, 5 / 26)
    assert "fewer than half" in found["note"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("preference", "0", "0"), "nobody has a preference"),
        (("preference", "0", "0", "--ties", "9"), "nobody has a preference"),
        (("preference", "-1", "5"), "A is '-1'; it must be a whole number"),
        (("preference", "1", "2.5"), "B is '2.5'; it must be a whole number"),
        (("preference", "1", "five"), "B is 'five'"),
        (("preference", "1", "2", "--ties", "-3"), "--ties is '-3'; it must be a whole number"),
        (("preference", "1", "2", "--ties", "some"), "--ties is 'some'"),
        (("preference", "9999", "2"), "A and B are 10001 people together; the exact test is made for at most 10000"),
        (("preference", "1000000000000", "2"), "at most 9 digits"),
        (("preference", "1", "\u0663"), "B is '\\u0663'"),
        (("deaths", "3", "0"), "EXPECTED must be more than 0"),
        (("deaths", "3", "-1"), "EXPECTED must be more than 0"),
        (("deaths", "3", "0." + 330 * "0" + "1"), "EXPECTED must be more than 0"),
        (("deaths", "3", "nan"), "EXPECTED is 'nan'; it must be a number"),
        (("deaths", "3.5", "4"), "OBSERVED is '3.5'; it must be a whole number"),
        (("deaths", "-3", "4"), "OBSERVED is '-3'"),
        (("deaths", "100001", "4"), "OBSERVED is 100001; exact limits are formed for at most 100000"),
    ],
)
def test_counts_that_cannot_be_used_are_refused_in_plain_words(shell: Shell, words: tuple[str, ...], says: str) -> None:
    said = refusal(shell.run("stats", *words))
    assert says in said
    assert len(said.splitlines()) == 1
