"""An operation, or a whole enrolment, was entered in error: it counts nowhere, nothing is expected of it, and it can be brought back.

Nothing is deleted: components, forms and answers stay where they are, and are no part of any figure as long as the mark stands.
"""

from sqlalchemy.orm import Session

from server.clinic.contradiction import refuse_first, refuse_if
from server.clinic.history import change_row
from server.clinic.misplaced import Act
from server.clinic.operation_checks import contradictions, crossing_components
from server.fields.check import in_english
from server.fields.operation_words import AGAIN, KINDS
from server.models import Operation, Patient
from server.timepoints.restate import restate
from server.trust.audit import audit


def take_back_operation(session: Session, operation: Operation, act: Act) -> None:
    """Raises Contradiction where something that stands builds on it. Safe to repeat."""
    if operation.taken_back_at is not None:
        return
    others = [each for each in operation.shoulder.operations if each is not operation and each.cancelled_on is None]
    refuse_first(_builds_on(operation, others))
    _mark(session, operation, operation.shoulder.patient_id, taken=True, act=act)


def bring_back_operation(session: Session, operation: Operation, act: Act) -> None:
    """It was no error after all. Raises Contradiction where it contradicts what was entered meanwhile. Safe to repeat."""
    if operation.taken_back_at is None:
        return
    patient = session.get_one(Patient, operation.shoulder.patient_id)
    if operation.cancelled_on is None:
        values = {
            name: getattr(operation, name) for name in ("kind", "stage", "surgery_on", "surgery_precision", "procedure")
        }
        against = contradictions(patient, operation.shoulder.operations, values, itself=operation)
        refuse_first([sentence for sentences in against.values() for sentence in in_english(sentences)])
        out, own = (
            [each for each in parts if each.struck_at is None] for parts in (operation.taken_out, operation.put_in)
        )
        refuse_first(crossing_components(operation.surgery_on, operation.surgery_precision, out, own))
    _mark(session, operation, patient.id, taken=False, act=act)


def take_back_enrolment(session: Session, patient: Patient, act: Act) -> None:
    """The whole record: a test, or somebody who never was this clinic's patient. Safe to repeat."""
    refuse_if(patient.merged_into_id is not None, "This record was merged into another. Undo that first.")
    if patient.taken_back_at is None:
        _mark(session, patient, patient.id, taken=True, act=act)


def bring_back_enrolment(session: Session, patient: Patient, act: Act) -> None:
    """It was no error after all. Safe to repeat."""
    if patient.taken_back_at is not None:
        _mark(session, patient, patient.id, taken=False, act=act)


def _builds_on(operation: Operation, others: list[Operation]) -> list[str]:
    """What stands and would have nothing under it."""
    done = [each for each in others if each.surgery_on is not None]
    again = [each for each in done if KINDS[each.kind].order == AGAIN]
    found = []
    if operation.surgery_on is not None and again and len(again) == len(done) and KINDS[operation.kind].order < AGAIN:
        found.append("Later operations on this shoulder build on this one. Take those back first, or correct this one.")
    if any(each.first_stage_id == operation.id for each in others):
        found.append("A second stage completes this operation. Take that back first.")
    gone = {each.taken_out_id for each in operation.put_in if each.struck_at is None}
    if any(each.id in gone for each in others):
        found.append(
            "A later operation took out a component that this one put in. Correct or take back that one first."
        )
    return found


def _mark(session: Session, row: Operation | Patient, patient_id: int, *, taken: bool, act: Act) -> None:
    at = act.now if taken else None
    change_row(session, row, {"taken_back_at": at}, now=act.now, by_id=act.by_id, why=act.why)
    what = f"{row.__tablename__}:taken_back" if taken else f"{row.__tablename__}:brought_back"
    audit(session, what, f"{row.__tablename__} {row.id}", now=act.now, by_id=act.by_id)
    if isinstance(row, Operation):
        session.expire(row.shoulder, ["operations"])
    restate(session, session.get_one(Patient, patient_id), now=act.now, today=act.today, by_id=act.by_id)
