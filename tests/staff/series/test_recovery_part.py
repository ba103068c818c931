"""Recovery on the page: windows and quartiles in words, who is counted apart, and the sealed answers it opens."""

from collections.abc import Iterator, Sequence
from datetime import timedelta

import pytest

from server.outcomes.series.followed import Followed
from server.outcomes.series.recovery import recovery_of
from server.outcomes.series.returns import Told
from server.outcomes.series.returns_reading import ReadReturns
from server.outcomes.series.sentence import Sentence
from server.staff.series.part import Part
from server.staff.series.recovery_part import COLUMNS, part_of
from tests.outcomes.series.followed_case import SURGERY, followings
from tests.outcomes.series.test_recovery import LEVELS, STANDARD, one
from tests.staff.staff_case import StaffCase

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")
BACK, NOT_YET, NOT_BEFORE = 1, 0, 3


@pytest.fixture(autouse=True)
def request_of_staff(staff: StaffCase) -> Iterator[None]:
    with staff.app.test_request_context("/series"):
        yield


def told(week: int, code: int, weeks: int | None = None) -> Told:
    """Of work alone."""
    return Told(SURGERY + timedelta(weeks=week), {"work": code}, {} if weeks is None else {"work": weeks})


def part(shoulders: Sequence[Followed], answers: Sequence[tuple[Told, ...]] = (), unread: int = 0) -> Part:
    """The answers to the form of the return are those of the first shoulders."""
    read = followings(shoulders)
    asked = tuple(zip(shoulders, answers, strict=False))
    return part_of(recovery_of(read, read.record.rows, Sentence(), LEVELS, ReadReturns(asked, unread)), Sentence())


def a_series() -> tuple[list[Followed], list[tuple[Told, ...]]]:
    """Twelve who go back to work in weeks 4 to 15, of whom all but one say when; two who wait, and two who did not work before."""
    shoulders = [one("nnyyy") for _each in range(14)] + [one("n....", before="y"), one("..y..")]
    back = [(told(16, BACK, week),) for week in range(4, 15)] + [(told(16, NOT_YET), told(26, BACK))]
    return [*shoulders, *(one("nyy", codes=STANDARD) for _each in range(4))], [
        *back,
        *[(told(26, NOT_YET),)] * 2,
        *[(told(16, NOT_BEFORE),)] * 2,
    ]


def test_windows_and_quartiles_are_told_with_what_they_rest_on() -> None:
    windows, work, lasting = part(*a_series()).says
    assert windows.startswith("Acceptable by their own answer: 6 weeks 0 % (0 to 17) of 19, 3 months 0 % (0 to ")
    assert "1 year 100 % (82 to 100) of 18" in windows
    assert (
        work
        == "Back at work, of 14 who did it before: a quarter by week 7; half by week 10; three quarters by week 14."
    )
    assert lasting == (
        "A first yes that lasts, of 14 asked often enough: a quarter between weeks 13 and 26; half between weeks 13 and 26; "
        "three quarters between weeks 13 and 26."
    )  # fmt: skip


def test_who_is_counted_apart_is_told() -> None:
    care = part(*a_series(), unread=2).care
    assert "Before surgery 1 of 20 called it acceptable already." in care[0]
    assert any(
        "1 said yes before surgery already, 1 said one yes and nothing before it, 0 gave no answer" in each
        for each in care
    )
    assert any("answers of 2 forms do not open" in each for each in care)


def test_which_windows_not_every_plan_asks_is_told_of_the_plans_that_there_are() -> None:
    some = part([one("nnyyy"), one("nyy", codes=STANDARD)]).care
    assert "The windows hold different people: not every plan of these shoulders asks at 3 months and 6 months." in some
    assert not any("windows hold different people" in each for each in part([one("nnyyy")] * 2).care)


def test_who_did_not_answer_before_surgery_is_counted_among_those_who_waited() -> None:
    care = part([one("nnyyy", before=".") for _each in range(3)] + [one(".....")] * 2).care
    assert "3 of all who waited did not answer before surgery and may have had nothing to wait for." in care


def test_the_figure_has_the_waits_of_whom_there_are_enough() -> None:
    found = part(*a_series())
    assert found.draw is not None and (found.shoulders, found.people) == (20, 20)
    drawn = found.draw(820)
    assert "Back at work" in drawn and "share of 14 who" in drawn and "still waiting: work" in drawn
    assert "still waiting: sport" not in drawn  # nobody answered it, which the counts below tell
    assert drawn.count("<rect") == 1  # of a yes that lasts; that of work lies where fewer than ten were waited for


def test_the_sums_of_the_table_hold() -> None:
    found = part(*a_series())
    rows = [dict(zip(found.table.columns, row, strict=True)) for row in found.table.rows]
    assert found.table.columns == COLUMNS and found.failed == ()
    waits = {row["name"]: row for row in rows if row["row_kind"] == "wait"}
    assert [waits["work"][name] for name in ("waited", "ended_had", "ended_not_yet", "nothing_to_wait_for")] == [
        14,
        12,
        2,
        2,
    ]
    assert [waits["sport"][name] for name in ("waited", "not_answered")] == [0, 16]
    assert [waits["lasting"][name] for name in ("waited", "nothing_to_wait_for", "one_yes_alone")] == [14, 1, 1]
    masses = [
        float(str(row["mass"])) for row in rows if row["row_kind"] == "cell" and str(row["name"]).startswith("work")
    ]
    assert sum(masses) == pytest.approx(1)


@pytest.mark.parametrize(
    ("shoulders", "why"),
    [
        ([], "No window of the first two years has closed"),
        ([one(".....", died=SURGERY + timedelta(days=5)) for _each in range(12)], "had died before it"),
        ([one("nnyyy")] * 2, "Fewer than 10 unrevised answered at each window"),
    ],
)  # fmt: skip
def test_what_cannot_be_told_is_said(shoulders: list[Followed], why: str) -> None:
    found = part(shoulders)
    assert why in found.says[0] and all("nobody yet" in each for each in found.says[1:])
    assert "<circle" not in (found.draw(820) if found.draw else "")


def test_a_plan_that_looks_too_seldom_tells_no_time() -> None:
    found = part([one("nyy", codes=STANDARD) for _each in range(12)])
    assert any("No plan of these shoulders asks 3 times in the first year" in each for each in found.care)
    assert found.draw is not None and "Weeks after surgery" not in found.draw(820)
