"""What every operation brings with it, whether it is new or planned and now done: its place, its line in the log, its follow-up."""

from collections.abc import Iterable
from datetime import date, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session, object_session

from server.fields.operation_words import starts_follow_up
from server.models import Operation, Shoulder
from server.schedule.plan import Plan
from server.timepoints.generate import refresh_timepoints, start_follow_up
from server.timepoints.plans import read_plans


def first_free_position(shoulder: Shoulder) -> int:
    """Operations are counted in the order of entry; one that was cancelled or entered in error keeps its number."""
    session = object_session(shoulder)
    if session is None or shoulder.id is None:  # a new shoulder
        return 1
    highest = select(func.max(Operation.position)).where(Operation.shoulder_id == shoulder.id)
    return 1 + (session.scalar(highest) or 0)


def begin_follow_up(session: Session, operation: Operation, plan: Plan, *, now: datetime, today: date) -> None:
    """Starts the operation's follow-up, unless its kind starts none. A revision's runs beside those of the earlier operations."""
    if starts_follow_up(operation.kind, operation.stage):
        start_follow_up(session, operation, plan, now=now, today=today)


def refresh_follow_ups(
    session: Session, operations: Iterable[Operation], *, now: datetime, today: date, by_id: int | None
) -> None:
    """Brings the follow-ups of these operations to what is recorded now."""
    for follow_up in (each for operation in operations for each in operation.follow_ups):
        plan = read_plans(session).find(follow_up)
        refresh_timepoints(session, follow_up, plan, now=now, today=today, by_id=by_id)


def refresh_shoulder(session: Session, shoulder: Shoulder, *, now: datetime, today: date, by_id: int | None) -> None:
    """Brings every follow-up of the shoulder to what is recorded now: a corrected day moves windows."""
    in_order = sorted(shoulder.operations, key=lambda each: each.position)
    refresh_follow_ups(session, in_order, now=now, today=today, by_id=by_id)
