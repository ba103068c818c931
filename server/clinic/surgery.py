"""An operation is done, moved or cancelled, or the day it was done is corrected. Each change refreshes follow-ups."""

from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session

from server.clinic.contradiction import refuse_first, refuse_if
from server.clinic.history import change_row
from server.clinic.operation_checks import contradictions, crossing_components
from server.clinic.operations import refresh_follow_ups
from server.fields.check import Calendar, check_day, text_problems
from server.fields.field import Tense, named
from server.fields.operation import OPERATION
from server.models import Operation, Patient
from server.queries.clock import clinic_day, the_clinic
from server.trust.audit import audit


def surgery_done(
    session: Session,
    operation: Operation,
    on: date,
    *,
    now: datetime,
    today: date,
    by_id: int | None,
    why: str | None = None,
) -> None:
    """The operation was done on that day; given again, the day is corrected, and windows and answers are placed anew."""
    patient = session.get_one(Patient, operation.shoulder.patient_id)
    _refuse_cancelled(operation)
    refuse_first(check_day(on, Tense.PAST, Calendar(today, patient.birth_on)))
    values = {"kind": operation.kind, "stage": operation.stage, "surgery_on": on, "surgery_precision": "day"}
    against = contradictions(patient, operation.shoulder.operations, values, itself=operation)
    refuse_first([sentence for sentences in against.values() for sentence in sentences])
    own = [each for each in operation.put_in if each.struck_at is None]
    refuse_first(crossing_components(on, "day", [each for each in operation.taken_out if each.struck_at is None], own))
    before = operation.surgery_on
    change_row(session, operation, {"surgery_on": on, "surgery_precision": "day"}, now=now, by_id=by_id, why=why)
    _audit(session, "operation:done", operation, now, by_id, surgery_on=on, before=before)
    refresh_follow_ups(session, [operation], now=now, today=today, by_id=by_id)


def surgery_moved(
    session: Session,
    operation: Operation,
    planned_on: date | None,
    *,
    now: datetime,
    today: date,
    by_id: int | None,
    why: str | None = None,
) -> None:
    """A new planned day, or None when it is open again."""
    refuse_if(
        operation.surgery_on is not None, f"This operation was done on {operation.surgery_on}; its planned day is past."
    )
    _refuse_cancelled(operation)
    if planned_on is not None:
        refuse_first(check_day(planned_on, Tense.AHEAD, Calendar(today)))
    before = operation.surgery_planned_on
    change_row(session, operation, {"surgery_planned_on": planned_on}, now=now, by_id=by_id, why=why)
    _audit(session, "operation:moved", operation, now, by_id, surgery_planned_on=planned_on, before=before)
    refresh_follow_ups(session, [operation], now=now, today=today, by_id=by_id)


def surgery_cancelled(
    session: Session,
    operation: Operation,
    on: date,
    *,
    reason: str | None,
    now: datetime,
    today: date,
    by_id: int | None,
) -> None:
    """The operation will not be done. Its own follow-up ends; those of other operations go on."""
    done_on = operation.surgery_on
    refuse_if(done_on is not None, f"This operation was done on {done_on} and cannot be cancelled.")
    refuse_if(operation.cancelled_on is not None, f"This operation was already cancelled on {operation.cancelled_on}.")
    refuse_if(on > today, f"{on} is after today ({today}). Enter the day on which it was cancelled.")
    refuse_if(
        on < clinic_day(the_clinic(session), operation.made_at),
        f"{on} is before the day on which this operation was entered.",
    )
    refuse_first(text_problems(reason or "", named(OPERATION, "cancelled_reason").longest))
    values = {"cancelled_on": on, "cancelled_reason": reason or None}
    change_row(session, operation, values, now=now, by_id=by_id)
    _audit(session, "operation:cancelled", operation, now, by_id, on=on)
    refresh_follow_ups(session, [operation], now=now, today=today, by_id=by_id)


def _refuse_cancelled(operation: Operation) -> None:
    cancelled = operation.cancelled_on
    refuse_if(cancelled is not None, f"This operation was cancelled on {cancelled}. Enter a new one.")


def _audit(
    session: Session, action: str, operation: Operation, now: datetime, by_id: int | None, **detail: Any
) -> None:
    audit(session, action, f"operation {operation.id}", now=now, by_id=by_id, **detail)
    session.flush()
