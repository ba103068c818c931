"""The day of an operation entered, corrected or planned anew, as the form of the operation does it."""

from datetime import date, datetime

from sqlalchemy.orm import Session

from server.clinic.operation_entry import ComponentsEntry, Desk, correct_operation
from server.fields.field import Value
from server.models import Operation

REPORT = "the operation report says so"


def done_on(
    session: Session,
    operation: Operation,
    on: date,
    *,
    now: datetime,
    today: date,
    by_id: int | None = None,
    why: str = REPORT,
) -> None:
    """It was done on that day; given again, the day is corrected."""
    values: dict[str, Value] = {"surgery_on": on, "surgery_precision": "day"}
    _correct(session, operation, values, Desk(now, today, by_id, checked=True, why=why))


def planned_for(
    session: Session,
    operation: Operation,
    on: date | None,
    *,
    now: datetime,
    today: date,
    by_id: int | None = None,
    why: str | None = None,
) -> None:
    """Another planned day, or None when it is open again."""
    _correct(session, operation, {"surgery_planned_on": on}, Desk(now, today, by_id, why=why))


def _correct(session: Session, operation: Operation, values: dict[str, Value], desk: Desk) -> None:
    out = frozenset(each.id for each in operation.taken_out)
    correct_operation(session, operation, values, ComponentsEntry(taken_out=out), None, desk)
