"""`yearmark score` names the item that it cannot take, and what that item takes."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.shell import Shell, refusal

YES_NO = "allowed: 1, 0"
DEGREES = "allowed: whole numbers from 0 to 180"


@pytest.mark.parametrize(
    ("instrument", "answers", "item", "allowed"),
    [
        ("sst", '{"13": 1}', 'item "13"', "its items: 1, 2, 3"),
        ("sst", '{"04": 1}', 'item "04"', "its items: 1, 2, 3"),
        ("sst", '{"\u0664": 1}', 'item "\\u0664"', "its items: 1, 2, 3"),
        ("sst", '{"4": 2}', "item 4: 2 is not allowed", YES_NO),
        ("sst", '{"4": -1}', "item 4: -1 is not allowed", YES_NO),
        ("sst", '{"4": 99999999999999999999999}', "item 4: 99999999999999999999999 is not allowed", YES_NO),
        ("sst", '{"4": "1"}', "item 4: a text is not a number", YES_NO),
        ("sst", '{"4": "\u0661"}', "item 4: a text is not a number", YES_NO),
        ("sst", '{"4": "not_applicable"}', "item 4: a text is not a number", YES_NO),
        ("sst", '{"4": true}', "item 4: true is not a number", YES_NO),
        ("sst", '{"4": [1]}', "item 4: is not a number", YES_NO),
        ("sst", '{"4": 1.0}', "item 4: 1.0 is not a whole number", YES_NO),
        ("sst", '{"4": NaN}', "item 4: NaN is not a finite number", YES_NO),
        ("sst", '{"4": -Infinity}', "item 4: -Infinity is not a finite number", YES_NO),
        ("constant", '{"6": 3.7}', "item 6: 3.7 is not a whole number", DEGREES),
        ("constant", '{"6": NaN}', "item 6: NaN is not a finite number", DEGREES),
        ("constant", '{"6": 1e999}', "item 6: Infinity is not a finite number", DEGREES),
        ("constant", '{"6": 181}', "item 6: 181 is not allowed", DEGREES),
        ("constant", '{"13": 5}', "item 13: 5 is not allowed", "allowed: 10, 8, 6, 4, 2, 0"),
    ],
)
def test_the_item_and_what_it_takes_are_named(
    shell: Shell, instrument: str, answers: str, item: str, allowed: str
) -> None:
    said = refusal(shell.run("score", instrument, given=f'{{"answers": {answers}}}'))
    assert said.startswith(f"yearmark: {item}")
    assert allowed in said


def test_every_item_with_a_fault_is_named_at_once(shell: Shell) -> None:
    said = refusal(shell.run("score", "sst", given='{"answers": {"2": 7, "4": NaN, "12": "yes"}}'))
    assert [line.removeprefix("yearmark: ").split(":")[0] for line in said.splitlines()] == [
        "item 2",
        "item 4",
        "item 12",
    ]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('{"answers": {"4": 1, "4": 0}}', 'the key "4" stands there twice'),
        ('{"answers": {"4": \u0661}}', "not JSON: Expecting value in line 1, column 19"),
        ('{"answers": {"4": 1}, "extra": NaN}', '"extra" beside answers is not understood'),
        ('{"answers": NaN}', "must be an object"),
        ('{"answers": {"4": 1}} and more', "not JSON"),
        ('\ufeff{"answers": {"4": 1}}', "begins with a byte order mark; save it as UTF-8 without one"),
    ],
)
def test_what_is_no_answer_sheet_is_refused_with_its_place(shell: Shell, text: str, says: str) -> None:
    assert says in refusal(shell.run("score", "sst", given=text))


@pytest.mark.parametrize("given", ["", "  \n"])
def test_without_answers_it_says_what_is_missing_and_how_to_give_it(shell: Shell, given: str) -> None:
    said = refusal(shell.run("score", "sst", given=given))
    assert "no answers came in" in said and "yearmark score sst answers.json" in said and "JSON:" not in said


def test_an_empty_file_is_named(shell: Shell, tmp_path: Path) -> None:
    (tmp_path / "none.json").write_text("")
    assert f"{tmp_path / 'none.json'} is empty" in refusal(shell.run("score", "sst", str(tmp_path / "none.json")))


def test_a_terminal_is_not_waited_for() -> None:
    """A terminal of its own: without one `isatty` says no. The command must end by itself, with nothing typed."""
    ours, theirs = os.openpty()
    command = [sys.executable, "-c", "from server.cli import main; main()", "score", "sst"]
    with subprocess.Popen(command, stdin=theirs, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as asked:
        out, said = asked.communicate(timeout=60)
    os.close(theirs)
    os.close(ours)
    assert (asked.returncode, out) == (2, "") and "no answers came in" in said
