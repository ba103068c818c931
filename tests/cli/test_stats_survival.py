"""`yearmark stats survival` and `yearmark stats intervals`: contract 3, and what they refuse."""

import json
from typing import Any

import pytest

from tests.cli.shell import Shell, refusal
from tests.outcomes.arithmetic.sets import DATA

ROW = ["time", "at_risk", "events", "survival", "se", "lower", "upper", "incidence"]
TWICE = "\n".join(f"{time},{time % 3},{time % 2},{time // 2}" for time in range(2, 62))


def stats(shell: Shell, command: str, content: str, *words: str) -> dict[str, Any]:
    said = shell.run("stats", command, "-", *words, given=content)
    assert said.exit_code == 0, said.output
    found: dict[str, Any] = json.loads(said.stdout)
    return found


def refused(shell: Shell, command: str, content: str, *words: str) -> str:
    return refusal(shell.run("stats", command, "-", *words, given=content))


def test_survival_prints_what_the_contract_promises(shell: Shell) -> None:
    found = stats(shell, "survival", (DATA / "bmt.csv").read_text(encoding="utf-8"))
    assert list(found["groups"]) == ["1", "2", "3"]
    group = found["groups"]["1"]
    assert list(group)[:2] == ["table", "median"]
    assert list(group["table"][0])[:8] == ROW
    assert [row["incidence"]["1"] for row in group["table"] if row["time"] <= 365][-1] == pytest.approx(
        0.237986, abs=6e-7
    )
    assert [list(row["incidence"]) for row in group["table"][:1]] == [["1", "2"]]
    assert list(found["logrank"])[:3] == ["chi2", "df", "p"] and found["logrank"]["df"] == 2
    assert found["logrank_reason"] is None


def test_channing_late_entry_from_a_later_start(shell: Shell) -> None:
    """R: survfit(..., start.time=816, conf.type="log-log") at 900, KMsurv channing"""
    found = stats(shell, "survival", (DATA / "channing.csv").read_text(encoding="utf-8"), "--from", "816")
    row = [row for row in found["groups"]["1"]["table"] if row["time"] <= 900][-1]
    shown = (row["survival"], row["se"], row["lower"], row["upper"])
    assert shown == pytest.approx((0.804531, 0.072170, 0.613782, 0.907636), abs=6e-7)


def test_rats_with_a_repeated_id_have_robust_errors_and_limits(shell: Shell) -> None:
    """R: survfit(Surv(time,status)~1,rats,cluster=litter,robust=TRUE,conf.type="log-log") at 90"""
    found = stats(shell, "survival", (DATA / "rats.csv").read_text(encoding="utf-8"))
    row = [row for row in found["groups"]["all"]["table"] if row["time"] <= 90][-1]
    assert (row["se"], row["se_robust"]) == pytest.approx((0.0199961, 0.0236545), abs=6e-8)
    assert (row["lower"], row["upper"]) == pytest.approx((0.826624, 0.921081), abs=6e-7)
    assert "each id" in found["method"]


def test_lung_follow_up_is_told_by_the_reverse_curve(shell: Shell) -> None:
    """R: survfit(Surv(time,status==1)~1,lung)"""
    rows = (DATA / "lung.csv").read_text(encoding="utf-8").split()
    found = stats(shell, "survival", "\n".join(row.rsplit(",", 1)[0] for row in rows))
    assert found["groups"]["all"]["follow_up_median"] == 588
    assert (found["logrank"], found["logrank_reason"]) == (None, "there is only one group")


def test_there_is_no_test_between_groups_of_repeated_people(shell: Shell) -> None:
    found = stats(shell, "survival", f"time,status,group,id\n{TWICE}\n")
    assert found["logrank"] is None
    assert found["logrank_reason"] == "id repeats, and the test holds only where each row is of another person"
    assert [group["limits_reason"] for group in found["groups"].values()] == [None, None]


def test_few_people_with_several_rows_get_no_limits(shell: Shell) -> None:
    """A thousand rows of one id would otherwise have an error of 0."""
    group = stats(shell, "survival", "time,status,id\n" + "5,1,a\n6,0,a\n" * 500)["groups"]["all"]
    assert group["limits_reason"] == "id repeats, and fewer than 20 persons give no limits"
    row = group["table"][0]
    assert (row["survival"], row["se_robust"], row["lower"], row["upper"]) == (0.5, None, None, None)
    assert (row["incidence_se"]["1"], row["incidence_lower"]["1"]) == (None, None)


def test_all_censored_everyone_dead_one_row_and_ties_at_zero(shell: Shell) -> None:
    nobody = stats(shell, "survival", "time,status\n1,0\n2,0\n")["groups"]["all"]
    assert (nobody["table"], nobody["median"], nobody["events"], nobody["follow_up_median"]) == ([], None, 0, 1.5)
    gone = stats(shell, "survival", "time,status\n0,1\n0,1\n0,2\n3,1\n")["groups"]["all"]
    assert [(row["time"], row["at_risk"], row["survival"]) for row in gone["table"]] == [(0, 4, 0.5), (3, 1, 0)]
    assert (gone["table"][-1]["se"], gone["table"][-1]["lower"]) == (None, None)
    alone = stats(shell, "survival", "time,status\n4,1\n")["groups"]["all"]
    assert (alone["n"], alone["median"], alone["table"][0]["se"]) == (1, 4, None)


def test_rows_without_a_value_are_counted_and_left_out(shell: Shell) -> None:
    found = stats(shell, "survival", "status,time,group\n1,2,a\n,3,a\n0,,a\n1,4,\n")
    assert (found["incomplete"], list(found["groups"]), found["groups"]["a"]["n"]) == (3, ["a"], 1)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "the first line must name the columns time and status once; it is empty"),
        ("time,status\n", "there is no row with a value in every column"),
        ("time;status\n1;0\n", "The values are separated by semicolons; save the file with commas"),
        ("time,status\n1,0\n-2,1\n", "line 3: time is -2; a time cannot be negative"),
        ("time,status\n1,0\nsoon,1\n", "line 3: time is not a time that can be reckoned with: 'soon'"),
        ("time,status\nnan,1\n", "line 2: time is not a time that can be reckoned with: 'nan'"),
        ("time,status\n1,1.5\n", "line 2: status is '1.5'; it must be a whole number: 0 censored, 1 the event"),
        ("time,status\n1,-1\n", "line 2: status is '-1'; it must be a whole number"),
        ("time,status,entry\n5,1,0\n5,1,5\n", "line 3: entry is 5 and time 5; a time lies after its entry"),
        ("time,status,entyr\n5,1,0\n", "names a column 'entyr' that is not known; the columns are time, status and"),
        ("time,status,group,group\n5,1,a,a\n", "the first line names the column group more than once"),
        ("time,status\n1,0,5\n", "line 2 has more values than columns are named"),
        ("time,status,group\n" + "".join(f"1,1,{name}\n" for name in range(51)), "51 different groups; 50 at most"),
    ],
)  # fmt: skip
def test_a_bad_survival_file_is_refused_with_its_line(shell: Shell, content: str, said: str) -> None:
    assert said in refused(shell, "survival", content)


def test_a_start_after_the_end_of_a_group_is_refused(shell: Shell) -> None:
    said = refused(shell, "survival", "time,status,group\n5,1,a\n9,1,b\n", "--from", "6")
    assert "nobody of group 'a' was still under watch at 6" in said
    assert "--from is 'x'" in refused(shell, "survival", "time,status\n5,1\n", "--from", "x")


def test_intervals_prints_what_the_contract_promises(shell: Shell) -> None:
    found = stats(shell, "intervals", "left,right,group\n0,2,a\n1,3,a\n2,4,a\n3,,a\n,6,b\n,,b\n7,7,\n")
    assert list(found["groups"]) == ["a", "b"] and found["incomplete"] == 2
    table = found["groups"]["a"]["table"]
    assert [(row["left"], row["right"]) for row in table] == [(1, 2), (3, 4)]
    assert [row["mass"] for row in table] == pytest.approx([0.5, 0.5])
    assert found["groups"]["a"]["quartiles"] == {"25": [1, 2], "50": [1, 2], "75": [3, 4]}
    assert found["groups"]["b"] == {
        "table": [{"left": 0, "right": 6, "mass": 1}],
        "quartiles": {"25": [0, 6], "50": [0, 6], "75": [0, 6]},
        "n": 1,
    }


def test_what_has_not_happened_to_anybody_has_no_right_end(shell: Shell) -> None:
    found = stats(shell, "intervals", "left,right\n3,\n5,\n")["groups"]["all"]
    assert found["table"] == [{"left": 5, "right": None, "mass": 1}]
    assert found["quartiles"]["50"] == [5, None]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "the first line must name the columns left and right once; it is empty"),
        ("left,right\n", "there is no row with a left or a right end"),
        ("left,right\n1,2\n3,2\n", "line 3: left is 3 and right 2; an interval cannot end before it begins"),
        ("left,right\n-1,2\n", "line 2: left is -1; a time cannot be negative"),
        ("left,right\n1,inf\n", "line 2: right is not a time that can be reckoned with: 'inf'"),
        ("left,right,id\n1,2,a\n", "names a column 'id' that is not known; the columns are left, right and"),
    ],
)
def test_a_bad_intervals_file_is_refused_with_its_line(shell: Shell, content: str, said: str) -> None:
    assert said in refused(shell, "intervals", content)
