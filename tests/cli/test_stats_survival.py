"""`yearmark stats survival` and `yearmark stats intervals`: one JSON object, or words. What stands in it is asked of it directly."""

import json
from typing import Any

from tests.cli.shell import Shell, refusal
from tests.outcomes.arithmetic.sets import DATA


def stats(shell: Shell, command: str, content: str, *words: str) -> dict[str, Any]:
    said = shell.run("stats", command, "-", *words, given=content)
    assert said.exit_code == 0, said.output
    found: dict[str, Any] = json.loads(said.stdout)
    return found


def refused(shell: Shell, command: str, content: str, *words: str) -> str:
    return refusal(shell.run("stats", command, "-", *words, given=content))


def test_survival_prints_one_document_from_the_start_that_is_asked_for(shell: Shell) -> None:
    content = (DATA / "channing.csv").read_text(encoding="utf-8")
    whole, later = stats(shell, "survival", content), stats(shell, "survival", content, "--from", "816")
    assert list(whole) == list(later) == ["groups", "logrank", "logrank_reason", "incomplete", "method"]
    assert later["groups"]["1"]["table"][0]["time"] >= 816 > whole["groups"]["1"]["table"][0]["time"]


def test_intervals_prints_one_document(shell: Shell) -> None:
    found = stats(shell, "intervals", "left,right\n3,\n5,\n")
    assert found["groups"]["all"]["table"] == [{"left": 5, "right": None, "mass": 1}]


def test_a_bad_file_or_option_is_refused_in_words(shell: Shell) -> None:
    assert "line 3: time is -2; a time cannot be negative" in refused(shell, "survival", "time,status\n1,0\n-2,1\n")
    assert "line 2: left is -1; a time cannot be negative" in refused(shell, "intervals", "left,right\n-1,2\n")
    said = refused(shell, "survival", "time,status,group\n5,1,a\n9,1,b\n", "--from", "6")
    assert "nobody of group 'a' was still under watch at 6" in said
    assert "--from is 'x'" in refused(shell, "survival", "time,status\n5,1\n", "--from", "x")
