"""The standard plan, short ways to write dates, and what hypothesis draws dates and facts from."""

import json
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from server.schedule.after_contact import TABLE
from server.schedule.follow_up_dates import EndReason, FollowUpDates
from server.schedule.plan import Plan
from server.schedule.plan_parsing import parse_plan
from server.schedule.reconcile import Changes, Existing
from server.schedule.status import Facts
from server.schedule.timepoints import PlannedTimepoint, planned_timepoints
from server.schedule.window import WindowState

PLAN_FILE = Path(__file__).parents[2] / "instruments" / "plans" / "standard" / "1.json"
FAR = date(2150, 1, 1)


def plan_data() -> dict[str, Any]:
    data: dict[str, Any] = json.loads(PLAN_FILE.read_text(encoding="utf-8"))
    return data


@cache
def standard() -> Plan:
    return parse_plan(plan_data())


def day(text: str) -> date:
    return date.fromisoformat(text)


def enrolled(on: str, **others: Any) -> FollowUpDates:
    """The dates of one entered and started on one day; single dates as text."""
    dates: dict[str, Any] = {name: day(it) if isinstance(it, str) else it for name, it in others.items()}
    return replace(FollowUpDates(enrolled_on=day(on), started_on=day(on)), **dates)


def timepoints(dates: FollowUpDates, until: date = FAR) -> dict[tuple[str, int], PlannedTimepoint]:
    made = planned_timepoints(standard(), dates, until=until)
    return {(each.code, each.attempt): each for each in made}


def codes(dates: FollowUpDates, until: date = FAR) -> list[str]:
    return [each.code for each in planned_timepoints(standard(), dates, until=until)]


def kept(planned: PlannedTimepoint, **facts: Any) -> Existing:
    """The row that a planned timepoint becomes."""
    return Existing(
        code=planned.code,
        attempt=planned.attempt,
        anchor_on=planned.anchor_on,
        opens_on=planned.opens_on,
        invites_on=planned.invites_on,
        due_on=planned.due_on,
        closes_on=planned.closes_on,
        plan=planned.plan,
        before_surgery=planned.code == "baseline",
        **facts,
    )


def applied(rows: list[Existing], changes: Changes) -> list[Existing]:
    """The rows as they are after the changes."""
    moved = {
        move.existing: kept(move.to, answered=move.existing.answered, asked=move.existing.asked)
        for move in changes.move
    }
    left = [moved.get(row, row) for row in rows if row not in changes.withdraw]
    return left + [kept(each) for each in changes.create]


days = st.dates(date(1990, 1, 1), date(2040, 12, 31))


def _around(on: date, low: int, high: int) -> st.SearchStrategy[date]:
    return st.integers(low, high).map(lambda count: on + timedelta(days=count))


@st.composite
def follow_up_dates(draw: st.DrawFn) -> FollowUpDates:
    """Any dates that their own checks allow, surgery from decades before enrolment to a year after."""
    on = draw(days)
    surgery = draw(st.none() | _around(on, -12000, 400))
    cancelled = draw(st.none() | _around(on, 0, 400)) if surgery is None else None
    ended = draw(st.none() | _around(on, 0, 4000))
    answers = draw(st.lists(_around(on, 0, 300), max_size=3, unique=True).map(sorted))
    return FollowUpDates(
        enrolled_on=on,
        started_on=draw(_around(on, 0, 30)),
        surgery_planned_on=draw(st.none() | _around(on, -30, 500)),
        surgery_on=surgery,
        cancelled_on=cancelled,
        ended_on=ended,
        end_reason=None if ended is None else draw(st.sampled_from(EndReason)),
        baseline_answered_on=tuple(answers),
        baseline_asked=draw(st.integers(0, 4)),
    )


@st.composite
def facts(draw: st.DrawFn) -> Facts:
    """Any facts that their own checks allow, possible in life or not: status has to be total."""
    opens = draw(st.dates(date(2024, 1, 1), date(2024, 12, 31)))
    due = opens + timedelta(days=draw(st.integers(0, 40)))
    near = _around(opens, -60, 200)
    answered = draw(st.none() | near)
    ended = draw(st.none() | near)
    return Facts(
        opens_on=opens,
        due_on=due,
        closes_on=draw(st.none() | _around(due, 0, 40)),
        answered_on=answered,
        answered_state=None if answered is None else draw(st.sampled_from(WindowState)),
        ladder_exhausted_on=draw(st.none() | near),
        asked_on=draw(st.none() | near),
        withheld_on=draw(st.none() | near),
        historical=draw(st.booleans()),
        other_form=draw(st.booleans()),
        other_answer=draw(st.booleans()),
        last_try=draw(st.none() | st.sampled_from(sorted(TABLE))),
        fetched_on=draw(st.none() | near),
        lost_on=draw(st.none() | near),
        other_side=draw(st.booleans()),
        not_expected_on=ended,
        not_expected_reason=None if ended is None else draw(st.sampled_from(EndReason)),
    )
