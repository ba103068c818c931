"""Plan and dates in, timepoints out.

Rules:

1. The baseline opens at enrolment and closes with the day of surgery; while surgery is not done it has no closing day,
   however often the planned day moves. It is due `due_days` after opening, or on the day of surgery if that comes
   first.
2. A baseline answered more than `early_over_days` before surgery is kept as early and asked again, as the next attempt,
   from `early_over_days` before the planned day on. Without a planned day it is asked once: nothing can be early yet.
3. Timepoints after surgery exist only once surgery is *done*. A planned day makes none, so a moved one leaves none.
4. They are counted from the surgery date, k years at once, never from one to the next.
5. Every planned timepoint is made, so that every denominator can be counted. What closed before the follow-up's start is historical: it
   was never asked (server.schedule.status), so that surgery decades back makes nobody miss anything. A window that is open at the
   start invites on that day.
6. The end of a follow-up (death, withdrawal, transfer, cancelled surgery) stops no timepoints: from that day on they are not
   expected, with the reason (server.schedule.status).
7. A revision ends nothing: the old follow-up goes on beside the new one, each counting from its own surgery date. Which form is sent, and
   which answer counts for both, says server.schedule.clocks.
8. Two shoulders are two follow-ups, even with both operated on one day; `due_together` only groups what may be asked in
   one go.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

from server.schedule.follow_up_dates import FollowUpDates
from server.schedule.plan import AfterSurgery, BeforeSurgery, Part, Plan
from server.schedule.window import is_early

Side = Literal["left", "right"]

HORIZON_DAYS = 400  # rows are made this far ahead: more than a year, so that the next anniversary is always among them
LATE_DUE_DAYS = 14  # the project's own: a timepoint invited late leaves at least these days, if its window has them


@dataclass(frozen=True)
class PlannedTimepoint:
    """`closes_on` is the last day inside, None while surgery is not done. `anchor_on`: the day it is counted from."""

    code: str
    attempt: int
    anchor_on: date | None
    opens_on: date
    invites_on: date
    due_on: date
    closes_on: date | None
    minutes: int
    parts: tuple[Part, ...]
    title: tuple[tuple[str, str], ...]
    plan: str
    historical: bool = False


def horizon(today: date) -> date:
    """The day until which rows are made."""
    return today + timedelta(days=HORIZON_DAYS)


def planned_timepoints(plan: Plan, dates: FollowUpDates, *, until: date) -> list[PlannedTimepoint]:
    """All timepoints of one follow-up that open by `until`, in the order of opening. A later `until` only adds."""
    wanted = [each for each in _all(plan, dates) if each.opens_on <= until]
    return sorted(wanted, key=lambda each: (each.opens_on, each.attempt, each.code))


def next_look_ahead(planned: Iterable[PlannedTimepoint], today: date) -> date | None:
    """The day on which the first of them that lies beyond the horizon comes within it; None when there are no more."""
    beyond = [each.opens_on for each in planned if each.opens_on > horizon(today)]
    return min(beyond) - timedelta(days=HORIZON_DAYS) if beyond else None


def _all(plan: Plan, dates: FollowUpDates) -> list[PlannedTimepoint]:
    return [*_baselines(plan, dates), *_after_surgery(plan, dates)]


def invited_from(planned: PlannedTimepoint, day: date) -> PlannedTimepoint:
    """The same, inviting no earlier than `day`: a patient who could not be asked before is given days to answer.

    The window stays where it is; one that has closed by `day` stays as it was.
    """
    if planned.invites_on >= day or (planned.closes_on is not None and planned.closes_on < day):
        return planned
    last_day = planned.closes_on or planned.anchor_on
    return replace(planned, invites_on=day, due_on=due_when_invited_late(planned.due_on, last_day, day))


def due_when_invited_late(due_on: date, last_day: date | None, day: date) -> date:
    """The due day of what invites on `day` only, with days left to answer. A `last_day` that has passed limits nothing."""
    late = day + timedelta(days=LATE_DUE_DAYS)
    if last_day is not None and last_day >= day:
        late = min(late, last_day)
    return max(due_on, late)


def due_together(by_side: Mapping[Side, Sequence[PlannedTimepoint]], today: date) -> dict[str, tuple[Side, ...]]:
    """Code to the sides for which it is open today: one visit to the phone can ask both, each for itself."""
    sides: dict[str, set[Side]] = {}
    for side, timepoints in by_side.items():
        for each in timepoints:
            if each.opens_on <= today and (each.closes_on is None or today <= each.closes_on):
                sides.setdefault(each.code, set()).add(side)
    return {code: tuple(sorted(found)) for code, found in sides.items()}


def _baselines(plan: Plan, dates: FollowUpDates) -> list[PlannedTimepoint]:
    entry = plan.before
    if entry is None:
        return []
    attempts = max(len(dates.baseline_answered_on), dates.baseline_asked)
    made = [_baseline(plan, entry, dates, attempt) for attempt in range(1, attempts + 1)]
    if attempts == 0 or _ask_again(entry, dates):
        further = _baseline(plan, entry, dates, attempts + 1)
        over = dates.end is not None and dates.end[0] <= further.opens_on
        made += [] if over and attempts else [further]
    return made


def _ask_again(entry: BeforeSurgery, dates: FollowUpDates) -> bool:
    """True when every attempt is answered, the last one too early, and surgery is still to come."""
    answered = dates.baseline_answered_on
    if dates.surgery_on is not None or not answered or dates.baseline_asked > len(answered):
        return False
    return is_early(answered[-1], dates.surgery_planned_on, entry.early_over_days)


def _baseline(plan: Plan, entry: BeforeSurgery, dates: FollowUpDates, attempt: int) -> PlannedTimepoint:
    surgery_on = dates.surgery_expected_on
    opens_on = dates.enrolled_on
    if 2 <= attempt <= len(dates.baseline_answered_on) + 1:
        opens_on = dates.baseline_answered_on[attempt - 2] + timedelta(days=1)
        if surgery_on is not None:
            opens_on = max(opens_on, surgery_on - timedelta(days=entry.early_over_days))
    if dates.surgery_on is not None:
        opens_on = min(opens_on, dates.surgery_on)
    due_on = opens_on + timedelta(days=entry.due_days)
    return PlannedTimepoint(
        code=entry.code,
        attempt=attempt,
        anchor_on=surgery_on,
        opens_on=opens_on,
        invites_on=opens_on,
        due_on=due_on if surgery_on is None else max(opens_on, min(due_on, surgery_on)),
        closes_on=dates.surgery_on,
        minutes=entry.minutes,
        parts=entry.parts,
        title=entry.title,
        plan=plan.name,
        historical=dates.surgery_on is not None and dates.surgery_on < max(dates.enrolled_on, dates.started_on),
    )


def _after_surgery(plan: Plan, dates: FollowUpDates) -> list[PlannedTimepoint]:
    if dates.surgery_on is None:
        return []
    return [_after(plan, entry, dates.surgery_on, dates.started_on) for entry in plan.after]


def _after(plan: Plan, entry: AfterSurgery, surgery_on: date, started_on: date) -> PlannedTimepoint:
    window = entry.window(surgery_on)
    made = PlannedTimepoint(
        code=entry.code,
        attempt=1,
        anchor_on=window.anchor_on,
        opens_on=window.opens_on,
        invites_on=window.invites_on,
        due_on=window.due_on,
        closes_on=window.closes_on,
        minutes=entry.minutes,
        parts=entry.parts,
        title=entry.title,
        plan=plan.name,
        historical=window.closes_on < started_on,
    )
    return invited_from(made, started_on)
