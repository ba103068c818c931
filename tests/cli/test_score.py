"""`yearmark score`: contract 2, in and out, and what it refuses."""

import json
from pathlib import Path

import pytest

from tests.cli.shell import Shell, refusal

ALL_YES = {str(item): 1 for item in range(1, 13)}


def given(answers: dict[str, int | None]) -> str:
    return json.dumps({"answers": answers})


def test_answers_from_standard_input_are_scored_with_the_total_first(shell: Shell) -> None:
    said = shell.run("score", "sst", given=given({**ALL_YES, "4": 0}))
    found = json.loads(said.stdout)
    assert (said.exit_code, found["instrument"], found["version"]) == (0, "sst", "1")
    total = found["scales"][0]
    assert (total["scale"], total["value"], total["status"], total["answered"], total["items"]) == (
        "total",
        11,
        "scored",
        12,
        12,
    )
    assert set(total) == {
        "scale", "value", "status", "reason", "answered", "items", "method", "range", "better", "bound",
    }  # fmt: skip


def test_a_file_and_a_version_may_be_named(shell: Shell, tmp_path: Path) -> None:
    (tmp_path / "answers.json").write_text(given(dict(ALL_YES)))
    said = shell.run("score", "sst@1", str(tmp_path / "answers.json"))
    assert json.loads(said.stdout)["scales"][0]["value"] == 12


def test_an_item_that_was_not_answered_leaves_the_total_out_and_says_why(shell: Shell) -> None:
    total = json.loads(shell.run("score", "sst", given=given({**ALL_YES, "4": None})).stdout)["scales"][0]
    assert (total["value"], total["status"], total["answered"]) == (None, "not_scored", 11)
    assert total["reason"]


def test_a_bound_is_told_from_a_score(shell: Shell) -> None:
    found = json.loads(shell.run("score", "sst", given=given({**ALL_YES, "4": None})).stdout)["scales"]
    assert [each["scale"] for each in found if each["bound"]] == ["total_if_blanks_no", "total_if_blanks_yes"]


def test_the_arithmetic_is_printed_when_asked_for(shell: Shell) -> None:
    said = shell.run("score", "sst", "--explain", given=given(dict(ALL_YES)))
    assert said.exit_code == 0
    assert "12" in said.stdout
    with pytest.raises(json.JSONDecodeError):
        json.loads(said.stdout)


@pytest.mark.parametrize(
    ("instrument", "text", "says"),
    [
        ("sst", given({**ALL_YES, "4": 2}), "4"),
        ("sst", given({**ALL_YES, "4": -1}), "4"),
        ("pain", given({"1": 11}), "1"),
        ("sst", given({"13": 1}), "13"),
        ("sst", '{"answers": {"1": "yes"}}', "1"),
        ("sst", '{"answers": {"1": true}}', "1"),
        ("sst", '{"answers": [1]}', "answers"),
        ("sst", '{"answers": {"1": 1, "1": 0}}', "1"),
        ("sst", "not JSON", ""),
        ("sst", "", ""),
        ("nothing-like-it", given({"1": 1}), "nothing-like-it"),
        ("sst@99", given(dict(ALL_YES)), "sst"),
    ],
)
def test_what_cannot_be_scored_is_refused_with_a_plain_message(
    shell: Shell, instrument: str, text: str, says: str
) -> None:
    said = refusal(shell.run("score", instrument, given=text))
    assert said.startswith("yearmark: ")
    assert says in said
    assert len(said.splitlines()) <= 3


def test_a_code_that_is_refused_is_told_with_the_codes_that_are_not(shell: Shell) -> None:
    said = refusal(shell.run("score", "sst", given=given({**ALL_YES, "4": 7})))
    assert "7" in said
    assert "0" in said
    assert "1" in said


def test_a_file_that_is_not_there_is_refused(shell: Shell, tmp_path: Path) -> None:
    assert "No such file" in refusal(shell.run("score", "sst", str(tmp_path / "none.json")))
