"""What every operation brings with it, whether it is new or planned and now done: its place, its line in the log, its follow-up."""

from datetime import date, datetime

from sqlalchemy.orm import Session

from server.fields.operation_words import starts_follow_up
from server.models import FollowUp, Operation, Patient, Shoulder
from server.schedule.follow_up_dates import EndReason
from server.schedule.plan import Plan
from server.timepoints.generate import end_follow_up, refresh_timepoints, start_follow_up
from server.timepoints.plans import read_plans


def first_free_position(shoulder: Shoulder) -> int:
    """Operations are counted in the order of entry; a cancelled one keeps its number."""
    return 1 + max((each.position for each in shoulder.operations), default=0)


def begin_follow_up(
    session: Session,
    patient: Patient,
    operation: Operation,
    plan: Plan,
    *,
    now: datetime,
    today: date,
    by_id: int | None,
) -> None:
    """Starts the operation's follow-up, unless its kind starts none or nothing is expected of the patient any more."""
    if not starts_follow_up(operation.kind, operation.stage):
        return
    if operation.kind == "revision":
        end_revised(session, operation, now=now, today=today, by_id=by_id)
    if patient.died_on is None and patient.withdrew_on is None and patient.transferred_on is None:
        start_follow_up(session, operation, plan, now=now, today=today)


def end_revised(session: Session, revision: Operation, *, now: datetime, today: date, by_id: int | None) -> None:
    """A revision that is done ends the follow-ups of the shoulder's earlier operations on that day, also when the day is corrected."""
    if revision.surgery_on is None:
        return
    patient = session.get_one(Patient, revision.shoulder.patient_id)
    gone = left_on(patient)
    reason, on = EndReason.REVISED, revision.surgery_on
    if gone is not None and gone[1] < on:  # who left before the revision left before it
        reason, on = gone
    for follow_up in _ended_by(revision):
        follow_up.ended_on = follow_up.end_reason = None
        plan = read_plans(session).find(follow_up)
        end_follow_up(session, follow_up, plan, reason=reason, on=on, now=now, today=today, by_id=by_id)


def _ended_by(revision: Operation) -> list[FollowUp]:
    """Follow-ups that end with this revision: those begun since the last one done before it, and any earlier one that still runs."""
    earlier = [each for each in revision.shoulder.operations if each.position < revision.position]
    revised = [each.position for each in earlier if each.kind == "revision" and each.surgery_on is not None]
    since = max(revised, default=0)
    return [
        follow_up
        for operation in earlier
        for follow_up in operation.follow_ups
        if follow_up.ended_on is None or (operation.position >= since and follow_up.end_reason != EndReason.CANCELLED)
    ]


def refresh_shoulder(session: Session, shoulder: Shoulder, *, now: datetime, today: date, by_id: int | None) -> None:
    """Brings every follow-up of the shoulder to what is recorded now: a corrected day moves windows, a revision ends what it revised."""
    for operation in sorted(shoulder.operations, key=lambda each: each.position):
        if operation.kind == "revision":
            end_revised(session, operation, now=now, today=today, by_id=by_id)
        for follow_up in operation.follow_ups:
            refresh_timepoints(session, follow_up, read_plans(session).find(follow_up), now=now, today=today)


def left_on(patient: Patient) -> tuple[EndReason, date] | None:
    """Why and from when nothing is expected of the patient at all, the first of several."""
    days = (
        (EndReason.DIED, patient.died_on),
        (EndReason.WITHDREW, patient.withdrew_on),
        (EndReason.TRANSFERRED, patient.transferred_on),
    )
    known = [(reason, day) for reason, day in days if day is not None]
    return min(known, key=lambda each: each[1], default=None)


def running_follow_ups(shoulder: Shoulder) -> list[FollowUp]:
    return [each for operation in shoulder.operations for each in operation.follow_ups if each.ended_on is None]
