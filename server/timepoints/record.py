"""Facts about one timepoint are written here, each with the transition it brings and the day to look again."""

from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import Timepoint, Transition
from server.schedule.status import Status, is_done, look_again_on, transition
from server.schedule.window import WindowState
from server.timepoints.facts import facts_of


def last_status(session: Session, timepoint: Timepoint) -> Status:
    """The status last written down; `upcoming` before anything was."""
    latest = (
        select(Transition.status_after)
        .where(Transition.timepoint_id == timepoint.id)
        .order_by(Transition.id.desc())
        .limit(1)
    )
    return Status(session.scalars(latest).first() or Status.UPCOMING)


def look_again(
    session: Session,
    timepoint: Timepoint,
    *,
    today: date,
    now: datetime,
    reason: str | None = None,
    by_id: int | None = None,
) -> Status:
    """Computes the status from the facts; appends a transition if it changed; sets when to look next. Safe to repeat."""
    facts = facts_of(timepoint)
    before = last_status(session, timepoint)
    change = transition(before, facts, today)
    if change is not None:
        session.add(
            Transition(
                timepoint_id=timepoint.id,
                at=now,
                status_before=change.before,
                status_after=change.after,
                reason=reason or change.happened,
                by_id=by_id,
            )
        )
    timepoint.look_again_on = look_again_on(facts, today)
    timepoint.done_at = (timepoint.done_at or now) if is_done(facts, today) else None
    session.flush()
    return change.after if change else before


def mark_answered(
    session: Session,
    timepoint: Timepoint,
    *,
    answered_at: datetime,
    answered_on: date,
    window_state: WindowState,
    today: date,
    now: datetime,
    by_id: int | None = None,
) -> Status:
    """The counted response of this timepoint was recorded. `answered_on` is its day on the clinic's calendar."""
    timepoint.answered_at, timepoint.answered_on, timepoint.window_state = answered_at, answered_on, window_state
    return look_again(session, timepoint, today=today, now=now, by_id=by_id)


def mark_ladder_exhausted(session: Session, timepoint: Timepoint, *, on: date, now: datetime) -> Status:
    """Every reminder was sent, or was let go with a reason."""
    timepoint.ladder_exhausted_on = timepoint.ladder_exhausted_on or on
    return look_again(session, timepoint, today=on, now=now)


def mark_not_expected(
    session: Session,
    timepoint: Timepoint,
    *,
    on: date,
    reason: str,
    today: date,
    now: datetime,
    by_id: int | None = None,
) -> Status:
    """Out of the denominator from `on`, unless answered by then or closed before."""
    timepoint.not_expected_on, timepoint.not_expected_reason = on, reason
    return look_again(session, timepoint, today=today, now=now, by_id=by_id)
