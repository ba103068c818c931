"""The year marks of a shoulder: every timepoint at its true time from the first operation."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Row, func, or_, select
from sqlalchemy.orm import Session

from server.models import FollowUp, Operation, Shoulder, Timepoint
from server.queries.current import STANDS
from server.queries.facts import STATUS_COLUMNS, status_of
from server.schedule.status import Status
from server.schedule.timepoint_code import TimepointCode

AnyRow = Row[*tuple[Any, ...]]

DAYS_A_YEAR = 365.2425
LABELLED_EVERY = 5
KIND_OF = {
    Status.ANSWERED: "answered",
    Status.EARLY: "answered",
    Status.LATE: "late",
    Status.RECALLED: "late",
    Status.MISSED: "missed",
    Status.NEVER_ASKED: "never_asked",
    Status.OPEN: "open",
    Status.OVERDUE: "open",
    Status.NON_RESPONDER: "open",
    Status.NOT_EXPECTED: "not_expected",
    Status.UPCOMING: "to_come",
}


@dataclass(frozen=True)
class Mark:
    """`years_from_surgery`: negative before the first operation. `label`: the year's number where one is printed, else empty."""

    years_from_surgery: float
    kind: str
    label: str
    code: str


def history_marks(session: Session, patient_ids: Collection[int], *, today: date) -> dict[int, list[Mark]]:
    """Shoulder id to its marks in the order of time, for a whole page in one query."""
    first = (
        select(
            Operation.shoulder_id,
            func.min(func.coalesce(Operation.surgery_on, Operation.surgery_planned_on)).label("on"),
        )
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .where(Shoulder.patient_id.in_(patient_ids), Operation.cancelled_on.is_(None), STANDS)
        .group_by(Operation.shoulder_id)
        .subquery()
    )
    query = (
        select(Shoulder.id.label("shoulder_id"), Timepoint.code, first.c.on, *STATUS_COLUMNS)
        .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        .join(Operation, Operation.id == FollowUp.operation_id)
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .outerjoin(first, first.c.shoulder_id == Shoulder.id)
        .where(Timepoint.patient_id.in_(patient_ids), STANDS)
        # Neither what would only have opened after an end, nor what the form of the shoulder's other operation stands for.
        .where(or_(Timepoint.not_expected_on.is_(None), Timepoint.not_expected_on > Timepoint.opens_on))
        .where(Timepoint.carried_by_id.is_(None), Timepoint.answer_from_id.is_(None))
        .order_by(Timepoint.due_on, Timepoint.id)
    )
    marks: dict[int, list[Mark]] = {}
    for row in session.execute(query):
        marks.setdefault(row.shoulder_id, []).append(_mark(row, today))
    return marks


def _mark(row: AnyRow, today: date) -> Mark:
    start = row.on or row.due_on
    kind = KIND_OF[status_of(row, today)]
    return Mark(round((row.due_on - start).days / DAYS_A_YEAR, 3), kind, _label(row.code), row.code)


def _label(code: str) -> str:
    """Years 1, 2 and every fifth: more would run into each other."""
    year = TimepointCode.parse(code).year
    return str(year) if year is not None and (year <= 2 or year % LABELLED_EVERY == 0) else ""
