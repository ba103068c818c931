"""Reading a reminder ladder: what is understood, and how what is not understood is refused."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from scoring.data_reader import DataProblem
from server.schedule.ladder import LadderStep, Role
from server.schedule.ladder_parsing import parse_ladder
from server.schedule.timepoint_code import TimepointCode

FILE = Path(__file__).parents[2] / "instruments" / "ladders" / "standard" / "1.json"
Change = Callable[[dict[str, Any]], object]


def ladder_data() -> dict[str, Any]:
    data: dict[str, Any] = json.loads(FILE.read_text(encoding="utf-8"))
    return data


@pytest.mark.parametrize("code", ["baseline", "day-10", "week-6", "month-3", "year-1", "year-40"])
def test_the_standard_ladder_invites_and_reminds_every_week_for_three_weeks(code: str) -> None:
    assert parse_ladder(ladder_data()).steps(TimepointCode.parse(code)) == tuple(
        LadderStep(step, day, Role.PREFERRED)
        for step, day in (("invitation", 0), ("reminder-1", 7), ("reminder-2", 14), ("reminder-3", 21))
    )


def test_each_class_of_timepoints_has_its_own_steps() -> None:
    data = ladder_data()
    data["weeks"], data["years"] = data["weeks"][:1], data["years"][:2]
    ladder = parse_ladder(data)
    counts = [len(ladder.steps(TimepointCode.parse(code))) for code in ("baseline", "week-6", "month-3", "year-1")]
    assert counts == [4, 1, 1, 2]


def test_every_role_is_understood_and_a_notice_may_come_before_the_invitation() -> None:
    data = ladder_data()
    data["years"] = [{"step": f"s-{n}", "day": 7 * n - 7, "role": str(role)} for n, role in enumerate(Role)]
    steps = parse_ladder(data).years
    assert [step.role for step in steps] == list(Role)
    assert steps[0] == LadderStep("s-0", -7, Role.NOTICE)


REFUSED: list[tuple[str, Change, str, str]] = [
    ("an unknown key", lambda d: d.update(colour="red"), "colour", "not understood"),
    ("an unknown key of a step", lambda d: d["weeks"][0].update(channel="email"), "weeks[0] channel", "not understood"),
    ("a missing class", lambda d: d.pop("years"), "years", "missing"),
    ("a class without steps", lambda d: d.update(years=[]), "years", "a list"),
    ("an unknown role", lambda d: d["years"][1].update(role="pigeon"), "years[1] role", "none of"),
    ("days that go back", lambda d: d["years"][2].update(day=1), "years[2] day", "from 8"),
    ("two steps on one day", lambda d: d["years"][2].update(day=7), "years[2] day", "from 8"),
    ("a day too early", lambda d: d["years"][0].update(day=-61), "years[0] day", "from -60"),
    ("half a day", lambda d: d["years"][1].update(day=7.5), "years[1] day", "whole number"),
    ("true for a number", lambda d: d["years"][1].update(day=True), "years[1] day", "whole number"),
    ("a step twice", lambda d: d["years"][1].update(step="invitation"), "years[1] step", "twice"),
    ("a step with a blank", lambda d: d["years"][1].update(step="a step"), "years[1] step", "form"),
    ("no title", lambda d: d.pop("title"), "title", "missing"),
    ("a version that is a number", lambda d: d.update(version=1), "version", "a text"),
    ("an id in capitals", lambda d: d.update(id="Standard"), "id", "form"),
]


@pytest.mark.parametrize(
    ("change", "place", "reason"), [case[1:] for case in REFUSED], ids=[case[0] for case in REFUSED]
)
def test_a_ladder_is_refused_with_the_place_and_the_reason(change: Change, place: str, reason: str) -> None:
    data = ladder_data()
    change(data)
    with pytest.raises(DataProblem) as caught:
        parse_ladder(data)
    assert caught.value.place == f"ladder {place}"
    assert reason in caught.value.reason
