"""What an examiner found and what happened to a shoulder, checked by their field tables and kept."""

from collections.abc import Mapping
from datetime import date, datetime

from sqlalchemy.orm import Session

from server.fields.check import Calendar, checked
from server.fields.event import EVENT
from server.fields.field import Value
from server.fields.finding import FINDING
from server.fields.stored import stored_values
from server.models import ClinicEvent, ClinicFinding, Patient, Shoulder
from server.trust.audit import audit


def record_finding(
    session: Session,
    shoulder: Shoulder,
    values: Mapping[str, Value],
    *,
    now: datetime,
    today: date,
    by_id: int | None,
    timepoint_id: int | None = None,
) -> ClinicFinding:
    """The finding of one visit. Raises EntryRefused with every error."""
    entry = checked(FINDING, values, _calendar(session, shoulder, today))
    finding = ClinicFinding(
        **stored_values(FINDING, entry),
        shoulder_id=shoulder.id,
        timepoint_id=timepoint_id,
        made_at=now,
        made_by_id=by_id,
    )
    session.add(finding)
    session.flush()
    audit(session, "finding:entered", f"finding {finding.id}", now=now, by_id=by_id, shoulder=shoulder.id)
    return finding


def record_event(
    session: Session,
    shoulder: Shoulder,
    values: Mapping[str, Value],
    *,
    now: datetime,
    today: date,
    by_id: int | None,
    operation_id: int | None = None,
) -> ClinicEvent:
    """An event of one shoulder; `operation_id` is the operation it followed. Raises EntryRefused with every error."""
    entry = checked(EVENT, values, _calendar(session, shoulder, today))
    event = ClinicEvent(
        **stored_values(EVENT, entry),
        shoulder_id=shoulder.id,
        operation_id=operation_id,
        made_at=now,
        made_by_id=by_id,
    )
    session.add(event)
    session.flush()
    audit(session, "event:entered", f"event {event.id}", now=now, by_id=by_id, shoulder=shoulder.id)
    return event


def _calendar(session: Session, shoulder: Shoulder, today: date) -> Calendar:
    return Calendar(today, session.get_one(Patient, shoulder.patient_id).birth_on)
