"""Rows that are entered once, corrected with a reason, and taken back where they were an error: visits, events, what other sources say,
operations of people not enrolled. Nothing is deleted; what is taken back counts nowhere, and the mark can be lifted again.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.history import change_row
from server.models import ClinicEvent, ClinicFinding, FieldChange, KnownStatus, OperationLog, Response
from server.trust.audit import audit

Recorded = ClinicFinding | ClinicEvent | KnownStatus | OperationLog
_IN_THE_AUDIT_TRAIL = {
    ClinicFinding: "finding",
    ClinicEvent: "event",
    KnownStatus: "known_status",
    OperationLog: "operation_log",
}


def enter_row(session: Session, row: Recorded, *, now: datetime, by_id: int | None, **detail: Any) -> None:
    """Keeps a row whose values were checked. `detail` goes into the audit trail."""
    row.made_at, row.made_by_id = now, by_id
    session.add(row)
    session.flush()
    word = _IN_THE_AUDIT_TRAIL[type(row)]
    audit(session, f"{word}:entered", f"{word} {row.id}", now=now, by_id=by_id, **detail)


def correct_row(
    session: Session, row: Recorded, values: Mapping[str, Any], *, now: datetime, by_id: int | None, why: str
) -> list[str]:
    """The names of the columns that changed; what stood there before stays in the history. `values` were checked."""
    changed = change_row(session, row, values, now=now, by_id=by_id, why=why)
    word = _IN_THE_AUDIT_TRAIL[type(row)]
    audit(session, f"{word}:corrected", f"{word} {row.id}", now=now, by_id=by_id, fields=changed)
    return changed


def take_back(session: Session, row: Recorded, *, why: str, now: datetime, by_id: int | None) -> None:
    """It was entered in error. Safe to repeat: what is taken back already stays as it is."""
    if row.taken_back_at is None:
        change_row(session, row, {"taken_back_at": now}, now=now, by_id=by_id, why=why)
        for form in _forms(session, row):
            if form.counted:
                change_row(session, form, {"counted": False}, now=now, by_id=by_id, why=why)
        audit(session, f"{row.__tablename__}:taken_back", f"{row.__tablename__} {row.id}", now=now, by_id=by_id)


def bring_back(session: Session, row: Recorded, *, why: str, now: datetime, by_id: int | None) -> None:
    """It was no error after all."""
    if row.taken_back_at is not None:
        went_along = select(FieldChange.row_id).where(
            FieldChange.table_name == "response", FieldChange.field == "counted", FieldChange.at == row.taken_back_at
        )
        ids = set(session.scalars(went_along))
        for form in _forms(session, row):
            if form.id in ids:
                change_row(session, form, {"counted": True}, now=now, by_id=by_id, why=why)
        change_row(session, row, {"taken_back_at": None}, now=now, by_id=by_id, why=why)
        audit(session, f"{row.__tablename__}:brought_back", f"{row.__tablename__} {row.id}", now=now, by_id=by_id)


def _forms(session: Session, row: Recorded) -> list[Response]:
    """The forms that were taken at a visit: they count as long as it does."""
    if not isinstance(row, ClinicFinding):
        return []
    return list(session.scalars(select(Response).where(Response.finding_id == row.id).order_by(Response.id)))
