"""What staff do about a patient between forms: they try to reach somebody, and they settle what an answer asked them to look at."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.fields.check import Calendar, checked
from server.fields.field import Value
from server.fields.person import ATTEMPT
from server.fields.stored import stored_values
from server.models import ContactAttempt, Flag, Patient
from server.trust.audit import audit


def record_attempt(
    session: Session, patient: Patient, values: Mapping[str, Value], *, now: datetime, by_id: int
) -> None:
    """One try to reach the patient, in the fields of ATTEMPT. Raises EntryRefused with every error."""
    entry = checked(ATTEMPT, values, Calendar(now.date()))
    session.add(ContactAttempt(**stored_values(ATTEMPT, entry), patient_id=patient.id, at=now, by_id=by_id))
    audit(session, "contact:tried", f"patient {patient.id}", now=now, by_id=by_id, result=entry.text("result"))


def flags_settled_together(session: Session, flag: Flag) -> Sequence[Flag]:
    """The open flags of one kind that one response raised: the list shows them as one thing to do."""
    if flag.response_id is None:
        return [flag]
    alike = select(Flag).where(Flag.response_id == flag.response_id, Flag.kind == flag.kind, Flag.settled_at.is_(None))
    return session.scalars(alike.order_by(Flag.id)).all()


def keep_note(session: Session, flag: Flag, note: str, *, now: datetime, by_id: int) -> None:
    """Keeps what was typed so far beside an open flag, so that it is still there after a way to another page."""
    for each in flags_settled_together(session, flag):
        each.settled_note = note or None
    audit(session, "flag:note_kept", f"flag {flag.id}", now=now, by_id=by_id, kind=flag.kind)


def settle_flag(session: Session, flag: Flag, note: str, *, now: datetime, by_id: int) -> None:
    """Settles an open flag, and those that are one thing to do with it."""
    for each in flags_settled_together(session, flag):
        each.settled_at, each.settled_by_id, each.settled_note = now, by_id, note
        audit(session, "flag:settled", f"flag {each.id}", now=now, by_id=by_id, kind=each.kind)
