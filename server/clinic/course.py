"""What happens to an operation or a patient after enrolment. Each change refreshes or ends follow-ups, in one transaction."""

from datetime import date, datetime

from sqlalchemy.orm import Session

from server.clinic.checks import check_done_on, check_planned_on
from server.clinic.operations import end_revised, log_operation, not_before_earlier, running_follow_ups
from server.models import Operation, Patient
from server.queries.clock import clinic_day, the_clinic
from server.schedule.follow_up_dates import EndReason
from server.timepoints.generate import end_follow_up, refresh_timepoints
from server.timepoints.plans import read_plans
from server.trust.audit import audit


class CourseProblem(ValueError):
    """The change contradicts what is known. The message is a plain sentence for the page."""


def surgery_done(
    session: Session,
    operation: Operation,
    on: date,
    *,
    now: datetime,
    today: date,
    by_id: int | None,
) -> None:
    """The operation was done on that day; given again, the day is corrected. A revision ends the shoulder's running follow-up."""
    patient = session.get_one(Patient, operation.shoulder.patient_id)
    _refuse(
        operation.cancelled_on is not None,
        f"This operation was cancelled on {operation.cancelled_on}. Enter a new one.",
    )
    _refuse_first(check_done_on(on, born=patient.birth_on, today=today))
    others = [each for each in operation.shoulder.operations if each.id != operation.id and each.cancelled_on is None]
    _refuse_first(not_before_earlier([each for each in others if each.position < operation.position], on))
    later = [each.surgery_on for each in others if each.position > operation.position and each.surgery_on is not None]
    _refuse(
        bool(later) and on > min(later), f"{on} is after a later operation on this shoulder. Check the year of both."
    )
    died = patient.died_on
    _refuse(died is not None and on > died, f"The patient died on {died}, before {on}.")
    before, operation.surgery_on = operation.surgery_on, on
    _audit(session, "operation:done", operation, now, by_id, surgery_on=on, before=before)
    log_operation(session, operation, now=now)
    if operation.kind == "revision":
        end_revised(session, operation, now=now, today=today, by_id=by_id)
    _refresh(session, operation, now, today)


def surgery_moved(
    session: Session,
    operation: Operation,
    planned_on: date | None,
    *,
    now: datetime,
    today: date,
    by_id: int | None,
) -> None:
    """A new planned day, or None when it is open again."""
    _refuse(
        operation.surgery_on is not None, f"This operation was done on {operation.surgery_on}; its planned day is past."
    )
    _refuse(
        operation.cancelled_on is not None,
        f"This operation was cancelled on {operation.cancelled_on}. Enter a new one.",
    )
    if planned_on is not None:
        _refuse_first(check_planned_on(planned_on, today=today))
    before, operation.surgery_planned_on = operation.surgery_planned_on, planned_on
    _audit(session, "operation:moved", operation, now, by_id, surgery_planned_on=planned_on, before=before)
    _refresh(session, operation, now, today)


def surgery_cancelled(
    session: Session,
    operation: Operation,
    on: date,
    *,
    reason: str,
    now: datetime,
    today: date,
    by_id: int | None,
) -> None:
    """The operation will not be done. Its own follow-up ends; that of an operation it would have revised goes on."""
    _refuse(
        operation.surgery_on is not None, f"This operation was done on {operation.surgery_on} and cannot be cancelled."
    )
    _refuse(operation.cancelled_on is not None, f"This operation was already cancelled on {operation.cancelled_on}.")
    _refuse(on > today, f"{on} is after today ({today}). Enter the day on which it was cancelled.")
    _refuse(
        on < clinic_day(the_clinic(session), operation.made_at),
        f"{on} is before the day on which this operation was entered.",
    )
    _refuse(len(reason) > 200, "The reason is longer than 200 characters; shorten it.")
    operation.cancelled_on, operation.cancelled_reason = on, reason or None
    _audit(session, "operation:cancelled", operation, now, by_id, on=on)
    for follow_up in operation.follow_ups:
        plan = read_plans(session).find(follow_up)
        end_follow_up(session, follow_up, plan, reason=EndReason.CANCELLED, on=on, now=now, today=today, by_id=by_id)


def patient_died(
    session: Session, patient: Patient, on: date, *, now: datetime, today: date, by_id: int | None
) -> None:
    """Nothing more is expected from that day on. Ending the link is the caller's."""
    done = [each.surgery_on for each in _operations(patient) if each.surgery_on is not None]
    _refuse(bool(done) and on < max(done), f"{on} is before an operation of this patient. Check the year of both.")
    _end_all(session, patient, EndReason.DIED, on, now=now, today=today, by_id=by_id)


def withdrew(session: Session, patient: Patient, on: date, *, now: datetime, today: date, by_id: int | None) -> None:
    """The patient wants no more contact: consents to contact and to unfinished answers end too; research use is asked apart."""
    _end_all(session, patient, EndReason.WITHDREW, on, now=now, today=today, by_id=by_id)
    for consent in patient.consents:
        if consent.kind in ("contact", "unfinished") and consent.withdrawn_on is None:
            consent.withdrawn_on, consent.withdrawal_taken_by_id = max(on, consent.given_on), by_id
    session.flush()


def transferred(session: Session, patient: Patient, on: date, *, now: datetime, today: date, by_id: int | None) -> None:
    """Another clinic follows the patient from that day on."""
    _end_all(session, patient, EndReason.TRANSFERRED, on, now=now, today=today, by_id=by_id)


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
    _refuse(known is not None, f"The patient {words} on {known}; that is already entered.")
    died = patient.died_on
    _refuse(died is not None and on > died, f"The patient died on {died}, before {on}.")
    _refuse_first(check_done_on(on, born=patient.birth_on, today=today))
    setattr(patient, column, on)
    audit(session, f"patient:{reason}", f"patient {patient.id}", now=now, by_id=by_id, on=on)
    for shoulder in patient.shoulders:
        for follow_up in running_follow_ups(shoulder):
            plan = read_plans(session).find(follow_up)
            end_follow_up(session, follow_up, plan, reason=reason, on=on, now=now, today=today, by_id=by_id)


_ENDS = {
    EndReason.DIED: ("died_on", "died"),
    EndReason.WITHDREW: ("withdrew_on", "withdrew"),
    EndReason.TRANSFERRED: ("transferred_on", "was transferred"),
}


def _operations(patient: Patient) -> list[Operation]:
    return [operation for shoulder in patient.shoulders for operation in shoulder.operations]


def _refresh(session: Session, operation: Operation, now: datetime, today: date) -> None:
    for follow_up in operation.follow_ups:
        refresh_timepoints(session, follow_up, read_plans(session).find(follow_up), now=now, today=today)


def _audit(
    session: Session, action: str, operation: Operation, now: datetime, by_id: int | None, **detail: object
) -> None:
    audit(session, action, f"operation {operation.id}", now=now, by_id=by_id, **detail)
    session.flush()


def _refuse(contradicts: bool, sentence: str) -> None:
    if contradicts:
        raise CourseProblem(sentence)


def _refuse_first(sentences: list[str]) -> None:
    for sentence in sentences:
        raise CourseProblem(sentence)
