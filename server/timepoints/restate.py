"""After a correction: rows, facts and statuses of a patient as if everything recorded today had been known from the start.

Call `restate` in the transaction of any correction that is not one of the ordinary acts: a death or a withdrawal taken back, a
surgery day moved after answers came, an operation or an answer moved to another shoulder or patient. Each status that changes gets its
transition, `corrected` where nothing else can have brought it.
"""

from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import FollowUp, Operation, Patient, Response, Shoulder, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.queries.current import mark_sheets_stale
from server.timepoints.generate import refresh_timepoints
from server.timepoints.plans import read_plans


def restate(session: Session, patient: Patient, *, now: datetime, today: date, by_id: int | None = None) -> None:
    """Brings every follow-up of the patient to what is recorded today. Safe to repeat."""
    session.flush()
    follow_ups = session.scalars(
        select(FollowUp)
        .join(Operation, Operation.id == FollowUp.operation_id)
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .where(Shoulder.patient_id == patient.id)
        .order_by(Operation.shoulder_id, Operation.position, FollowUp.attempt)
    ).all()
    for follow_up in follow_ups:
        if patient.erased_at is None:  # what is erased was answered, and stays so
            _settle_answers(session, follow_up)
        plan = read_plans(session).find(follow_up)
        refresh_timepoints(session, follow_up, plan, now=now, today=today, by_id=by_id)
    mark_sheets_stale(session, {patient.id})


def _settle_answers(session: Session, follow_up: FollowUp) -> None:
    """A row is answered by its counted response, and by nothing else of its own."""
    clinic = the_clinic(session)
    counted = select(Response.timepoint_id, Response.finished_at, Response.window_state).join(
        Timepoint, Timepoint.id == Response.timepoint_id
    )
    rows = session.execute(counted.where(Timepoint.follow_up_id == follow_up.id, Response.counted))
    found = {row.timepoint_id: row for row in rows}
    for timepoint in follow_up.timepoints:
        own = found.get(timepoint.id)
        timepoint.patient_id = follow_up.operation.shoulder.patient_id
        if own is not None and timepoint.answered_at != own.finished_at:
            timepoint.answered_at, timepoint.answer_from_id = own.finished_at, None
            timepoint.answered_on = clinic_day(clinic, own.finished_at)
            timepoint.window_state = own.window_state
        elif own is None and timepoint.answer_from_id is None:
            timepoint.answered_at = timepoint.answered_on = timepoint.window_state = None
