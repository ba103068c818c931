"""What `yearmark stats survival` tells of a file of times, and what it refuses."""

from typing import Any

import pytest

from server.outcomes.arithmetic.survival_document import survival_document
from server.outcomes.arithmetic.table import TableProblem
from tests.outcomes.arithmetic.sets import DATA

ROW = ["time", "at_risk", "events", "survival", "se", "lower", "upper"]
INCIDENCE = ["incidence", "incidence_se", "incidence_lower", "incidence_upper"]
GROUP = ["table", "median", "follow_up_median", "n", "events", "limits_reason"]
TWICE = "\n".join(f"{time},{time % 3},{time % 2},{time // 2}" for time in range(2, 62))


def of_file(name: str, start: float | None = None) -> dict[str, Any]:
    return survival_document((DATA / name).read_text(encoding="utf-8"), start)


def only_group(content: str) -> dict[str, Any]:
    group: dict[str, Any] = survival_document(content)["groups"]["all"]
    return group


def row_at(group: dict[str, Any], time: float) -> dict[str, Any]:
    row: dict[str, Any] = [row for row in group["table"] if row["time"] <= time][-1]
    return row


def test_the_document_has_what_contract_3_promises() -> None:
    found = of_file("bmt.csv")
    assert list(found) == ["groups", "logrank", "logrank_reason", "incomplete", "method"]
    assert list(found["groups"]) == ["1", "2", "3"] and found["incomplete"] == 0
    group = found["groups"]["1"]
    assert list(group) == GROUP and list(group["table"][0]) == [*ROW, *INCIDENCE]
    assert row_at(group, 365)["incidence"] == pytest.approx({"1": 0.237986, "2": 0.212815}, abs=6e-7)
    assert list(found["logrank"]) == ["chi2", "df", "p", "observed", "expected"] and found["logrank"]["df"] == 2
    assert found["logrank_reason"] is None and group["limits_reason"] is None
    assert (group["n"], group["events"]) == (38, 12)


def test_the_method_says_how_each_number_is_formed() -> None:
    plain, repeated = survival_document("time,status\n4,1\n")["method"], of_file("rats.csv")["method"]
    assert plain == (
        "at risk: entry < t <= time; survival by Kaplan-Meier, status 2 and above censored, se by Greenwood; incidence by"
        " Aalen-Johansen, every other status but 0 competing, incidence_se by the infinitesimal jackknife; limits log-log, level 0.95"
    )
    assert repeated == (
        f"{plain}; id repeats: se_robust, incidence_se and all limits by the infinitesimal jackknife summed over each id"
    )


def test_channing_late_entry_from_a_later_start() -> None:
    """R: survfit(..., start.time=816, conf.type="log-log") at 900, KMsurv channing"""
    row = row_at(of_file("channing.csv", 816)["groups"]["1"], 900)
    shown = (row["survival"], row["se"], row["lower"], row["upper"])
    assert shown == pytest.approx((0.804531, 0.072170, 0.613782, 0.907636), abs=6e-7)


def test_mgus2_incidence_with_its_error_and_limits() -> None:
    """R: survfit(Surv(e,v)~1, conf.type="log-log") at 240"""
    row = row_at(of_file("mgus2.csv")["groups"]["all"], 240)
    found = [row[name]["1"] for name in INCIDENCE]
    assert found == pytest.approx([0.099814, 0.0097848, 0.081690, 0.120019], abs=6e-7)


def test_rats_with_a_repeated_id_have_robust_errors_and_limits() -> None:
    """R: survfit(Surv(time,status)~1,rats,cluster=litter,robust=TRUE,conf.type="log-log") at 90"""
    group = of_file("rats.csv")["groups"]["all"]
    row = row_at(group, 90)
    assert list(row) == [*ROW[:5], "se_robust", *ROW[5:], *INCIDENCE]
    assert (row["se"], row["se_robust"]) == pytest.approx((0.0199961, 0.0236545), abs=6e-8)
    assert (row["lower"], row["upper"]) == pytest.approx((0.826624, 0.921081), abs=6e-7)
    assert group["limits_reason"] is None


def test_lung_follow_up_is_told_by_the_reverse_curve() -> None:
    """R: survfit(Surv(time,status==1)~1,lung)"""
    rows = (DATA / "lung.csv").read_text(encoding="utf-8").split()
    found = survival_document("\n".join(row.rsplit(",", 1)[0] for row in rows))
    assert found["groups"]["all"]["follow_up_median"] == 588
    assert (found["logrank"], found["logrank_reason"]) == (None, "there is only one group")


def test_there_is_no_test_between_groups_of_repeated_people_or_where_nothing_happened_to_both() -> None:
    found = survival_document(f"time,status,group,id\n{TWICE}\n")
    assert found["logrank"] is None
    assert found["logrank_reason"] == "id repeats, and the test holds only where each row is of another person"
    assert [group["limits_reason"] for group in found["groups"].values()] == [None, None]
    apart = survival_document("time,status,group\n1,1,a\n9,0,b\n")
    assert apart["logrank"] is not None
    quiet = survival_document("time,status,group\n1,0,a\n9,1,b\n")
    assert (quiet["logrank"], quiet["logrank_reason"]) == (None, "there is no event while two groups were at risk")


def test_few_people_with_several_rows_get_no_limits() -> None:
    """A thousand rows of one id would otherwise have an error of 0. Twenty persons are enough."""
    group = only_group("time,status,id\n" + "5,1,a\n6,0,a\n" * 500)
    assert group["limits_reason"] == "id repeats, and fewer than 20 persons give no limits"
    row = group["table"][0]
    assert (row["survival"], row["se_robust"], row["lower"], row["upper"]) == (0.5, None, None, None)
    assert (row["incidence_se"]["1"], row["incidence_lower"]["1"]) == (None, None)
    nineteen, twenty = (
        only_group("time,status,id\n" + "".join(f"{n},1,{n % people}\n" for n in range(1, 40))) for people in (19, 20)
    )
    assert nineteen["limits_reason"] is not None and nineteen["table"][9]["se_robust"] is None
    assert twenty["limits_reason"] is None and twenty["table"][9]["se_robust"] > 0


def test_all_censored_everyone_dead_one_row_and_ties_at_zero() -> None:
    nobody = only_group("time,status\n1,0\n2,0\n")
    assert (nobody["table"], nobody["median"], nobody["events"], nobody["follow_up_median"]) == ([], None, 0, 1.5)
    gone = only_group("time,status\n0,1\n0,1\n0,2\n3,1\n")
    assert [(row["time"], row["at_risk"], row["survival"]) for row in gone["table"]] == [(0, 4, 0.5), (3, 1, 0)]
    assert (gone["table"][-1]["se"], gone["table"][-1]["lower"]) == (None, None)
    alone = only_group("time,status\n4,1\n")
    assert (alone["n"], alone["median"], alone["table"][0]["se"]) == (1, 4, None)
    assert list(alone["table"][0]["incidence"]) == ["1", "2"]  # also where nobody had the second
    assert list(only_group("time,status\n4,99\n5,0\n")["table"][0]["incidence"]) == ["1", "2", "99"]


def test_rows_without_a_value_are_counted_and_left_out() -> None:
    found = survival_document("status,time,group\n1,2,a\n,3,a\n0,,a\n1,4,\n")
    assert (found["incomplete"], list(found["groups"]), found["groups"]["a"]["n"]) == (3, ["a"], 1)
    entered = survival_document("time,status,entry,id\n5,1,,a\n5,1,2,\n5,1,2,a\n")
    assert (entered["incomplete"], entered["groups"]["all"]["n"]) == (2, 1)


STATUS = "it must be a whole number: 0 censored, 1 the event, 2 to 99 events that compete"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "the first line must name the columns time and status once; it is empty"),
        ("time,status\n", "there is no row with a value in every column"),
        ("time,status\n1,0\n-2,1\n", "line 3: time is -2; a time cannot be negative"),
        ("time,status\n1,0\nsoon,1\n", "line 3: time is not a time that can be reckoned with: 'soon'"),
        (f"time,status\n{'x' * 60},1\n", f"line 2: time is not a time that can be reckoned with: '{'x' * 39}"),
        ("time,status\nnan,1\n", "line 2: time is not a time that can be reckoned with: 'nan'"),
        ("time,status\n1,1.5\n", f"line 2: status is '1.5'; {STATUS}"),
        ("time,status\n1,-1\n", f"line 2: status is '-1'; {STATUS}"),
        ("time,status\n1,100\n", f"line 2: status is '100'; {STATUS}"),
        (f"time,status\n1,{'x' * 60}\n", f"line 2: status is '{'x' * 39}; {STATUS}"),
        (
            "time,status,entry\n5,1,0\n5,1,5\n",
            "line 3: entry is 5 and time 5; a time lies after its entry (what ends on the day it began counts half a day)",
        ),
        (
            "time,status,entyr\n5,1,0\n",
            "the first line names a column 'entyr' that is not known; the columns are time, status and, if wanted, group, entry, id",
        ),
        (
            f"time,status,{'x' * 60}\n5,1,0\n",
            f"the first line names a column '{'x' * 39} that is not known; the columns are time, status and, if wanted, group, entry, id",
        ),
        ("time,status,group,group\n5,1,a,a\n", "the first line names the column group more than once"),
        (
            "time,status\n1,0,5\n",
            "line 2 has more values than columns are named; a decimal needs a point, not a comma",
        ),
        (
            "time,status,group\n" + "".join(f"1,1,{name}\n" for name in range(51)),
            "the column group holds 51 different groups; 50 at most can be compared",
        ),
    ],
)  # fmt: skip
def test_a_bad_file_is_refused_with_its_line(content: str, said: str) -> None:
    with pytest.raises(TableProblem) as refused:
        survival_document(content)
    assert str(refused.value) == said


def test_fifty_groups_can_be_compared() -> None:
    content = "time,status,group\n" + "".join(f"{name + 1},1,{name}\n" for name in range(50))
    assert survival_document(content)["logrank"]["df"] == 49


def test_a_start_after_the_end_of_a_group_is_refused() -> None:
    content = f"time,status,group\n5,1,{'a' * 60}\n9,1,b\n"
    with pytest.raises(TableProblem) as refused:
        survival_document(content, 6)
    assert str(refused.value) == f"nobody of group '{'a' * 39} was still under watch at 6"
    assert survival_document(content, 5)["groups"]["a" * 60]["n"] == 1
