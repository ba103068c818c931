"""What staff do about a patient between forms: they try to reach somebody, and they settle what an answer asked them to look at."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import ContactAttempt, Flag, Patient
from server.trust.audit import audit


def record_attempt(
    session: Session,
    patient: Patient,
    *,
    channel: str,
    result: str,
    note: str | None,
    now: datetime,
    by_id: int,
) -> None:
    """One try to reach the patient; `result` is one of ATTEMPT_RESULTS."""
    attempt = ContactAttempt(patient_id=patient.id, at=now, by_id=by_id, channel=channel, result=result, note=note)
    session.add(attempt)
    audit(session, "contact:tried", f"patient {patient.id}", now=now, by_id=by_id, result=result)


def flags_settled_together(session: Session, flag: Flag) -> Sequence[Flag]:
    """The open flags of one kind that one response raised: the list shows them as one thing to do."""
    if flag.response_id is None:
        return [flag]
    alike = select(Flag).where(Flag.response_id == flag.response_id, Flag.kind == flag.kind, Flag.settled_at.is_(None))
    return session.scalars(alike.order_by(Flag.id)).all()


def settle_flag(session: Session, flag: Flag, note: str, *, now: datetime, by_id: int) -> None:
    """Settles an open flag, and those that are one thing to do with it."""
    for each in flags_settled_together(session, flag):
        each.settled_at, each.settled_by_id, each.settled_note = now, by_id, note
        audit(session, "flag:settled", f"flag {each.id}", now=now, by_id=by_id, kind=each.kind)
