"""What was entered in error: marked so with a reason, never deleted, and counted nowhere; the mark can be lifted again."""

from datetime import datetime

from sqlalchemy.orm import Session

from server.clinic.history import change_row
from server.models import ClinicEvent, ClinicFinding, KnownStatus, OperationLog
from server.trust.audit import audit

CanBeTakenBack = ClinicFinding | ClinicEvent | KnownStatus | OperationLog


def take_back(session: Session, row: CanBeTakenBack, *, why: str, now: datetime, by_id: int | None) -> None:
    """Safe to repeat: what is taken back already stays as it is."""
    if row.taken_back_at is None:
        change_row(session, row, {"taken_back_at": now}, now=now, by_id=by_id, why=why)
        audit(session, f"{row.__tablename__}:taken_back", f"{row.__tablename__} {row.id}", now=now, by_id=by_id)


def bring_back(session: Session, row: CanBeTakenBack, *, why: str, now: datetime, by_id: int | None) -> None:
    """It was no error after all."""
    if row.taken_back_at is not None:
        change_row(session, row, {"taken_back_at": None}, now=now, by_id=by_id, why=why)
        audit(session, f"{row.__tablename__}:brought_back", f"{row.__tablename__} {row.id}", now=now, by_id=by_id)
