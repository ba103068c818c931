"""A patient dies or moves to another clinic: nothing more is expected from that day on. Ending the link is the caller's."""

from datetime import date, datetime

from sqlalchemy.orm import Session

from server.clinic.contact import settle_all
from server.clinic.contradiction import refuse_first, refuse_if
from server.clinic.history import change_row
from server.clinic.left_open import refuse_recording
from server.clinic.operations import refresh_follow_ups
from server.fields.check import Calendar, check_day
from server.fields.field import Tense
from server.models import Patient
from server.schedule.follow_up_dates import EndReason
from server.trust.audit import audit


def patient_died(
    session: Session, patient: Patient, on: date, *, now: datetime, today: date, by_id: int | None
) -> None:
    """Nothing more is expected from that day on."""
    _refuse_before_operation(patient, on)
    refuse_recording(patient, on)
    _end_all(session, patient, EndReason.DIED, on, now=now, today=today, by_id=by_id)
    settle_all(session, patient, "said_died", f"The death was entered: {on}.", now=now, by_id=by_id)


def transferred(session: Session, patient: Patient, on: date, *, now: datetime, today: date, by_id: int | None) -> None:
    """Another clinic follows the patient from that day on."""
    _refuse_before_operation(patient, on)
    _end_all(session, patient, EndReason.TRANSFERRED, on, now=now, today=today, by_id=by_id)


def _refuse_before_operation(patient: Patient, on: date) -> None:
    operations = [operation for shoulder in patient.shoulders for operation in shoulder.operations]
    done = [each.surgery_on for each in operations if each.surgery_on is not None]
    refuse_if(bool(done) and on < max(done), f"{on} is before an operation of this patient. Check the year of both.")


def _end_all(
    session: Session,
    patient: Patient,
    reason: EndReason,
    on: date,
    *,
    now: datetime,
    today: date,
    by_id: int | None,
) -> None:
    column, words = _ENDS[reason]
    known = getattr(patient, column)
    refuse_if(known is not None, f"The patient {words} on {known}; that is already entered.")
    died = patient.died_on
    refuse_if(died is not None and on > died, f"The patient died on {died}, before {on}.")
    refuse_first(check_day(on, Tense.PAST, Calendar(today, patient.birth_on)))
    change_row(session, patient, {column: on}, now=now, by_id=by_id)
    audit(session, f"patient:{reason}", f"patient {patient.id}", now=now, by_id=by_id, on=on)
    operations = [operation for shoulder in patient.shoulders for operation in shoulder.operations]
    refresh_follow_ups(session, operations, now=now, today=today, by_id=by_id)


_ENDS = {
    EndReason.DIED: ("died_on", "died"),
    EndReason.TRANSFERRED: ("transferred_on", "was transferred"),
}
