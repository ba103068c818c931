"""Lost to questionnaires: proposed by rule, confirmed by a person, undone by any answer.

Proposed when two annual windows in a row were missed, every reminder of both was sent, the second contact person (where one is known) was
tried since, and nothing at all was answered meanwhile. The proposal is a flag. Confirmed, the patient is lost from the day of the last
contact; they are asked as before, and any later answer undoes it.
"""

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import Select, exists, func, select
from sqlalchemy.orm import Session

from server.clinic.history import change_row
from server.models import ContactAttempt, Flag, FollowUp, Patient, Response, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.queries.current import COUNTED
from server.queries.facts import status_of
from server.queries.last_known import last_known_of
from server.schedule.status import Status
from server.schedule.timepoint_code import TimepointCode, Unit
from server.trust.audit import audit

KIND = "lost_proposal"
IN_A_ROW = 2


def propose_lost(session: Session, *, now: datetime) -> int:
    """Raises a flag for each patient whom the rule finds; how many. Safe to repeat."""
    today = clinic_day(the_clinic(session), now)
    found = 0
    for patient in session.scalars(_perhaps_lost(today)).all():
        missed = _missed_in_a_row(session, patient, today)
        if (
            missed
            and _everybody_was_tried(session, patient, missed[0].opens_on)
            and not _dismissed(session, patient, missed[-1])
        ):
            session.add(Flag(kind=KIND, patient_id=patient.id, timepoint_id=missed[-1].id, raised_at=now))
            audit(session, "lost:proposed", f"patient {patient.id}", now=now)
            found += 1
    session.flush()
    return found


def confirm_lost(session: Session, patient: Patient, *, why: str, now: datetime, today: date, by_id: int) -> date:
    """Lost since the last contact, which is the day returned."""
    known = last_known_of(session, patient, today).contact
    since = known.on if known is not None else clinic_day(the_clinic(session), patient.made_at)
    change_row(session, patient, {"lost_on": since}, now=now, by_id=by_id, why=why)
    audit(session, "lost:confirmed", f"patient {patient.id}", now=now, by_id=by_id, lost_on=since)
    return since


def undo_lost(session: Session, patient: Patient, *, why: str, now: datetime, by_id: int | None) -> None:
    """Safe to repeat."""
    if change_row(session, patient, {"lost_on": None}, now=now, by_id=by_id, why=why):
        audit(session, "lost:undone", f"patient {patient.id}", now=now, by_id=by_id)


def undo_by_answers(session: Session, *, now: datetime) -> int:
    """Nobody is lost, or proposed to be, who has answered since; how many were found again. Safe to repeat."""
    answered = exists().where(Response.patient_id == Patient.id, Response.set_aside_at.is_(None))
    clinic = the_clinic(session)
    found = 0
    for patient in session.scalars(select(Patient).where(Patient.lost_on.is_not(None), answered)).all():
        own = Response.patient_id == patient.id, Response.set_aside_at.is_(None)
        last = session.scalar(select(func.max(Response.finished_at)).where(*own))
        if last is not None and patient.lost_on is not None and clinic_day(clinic, last) > patient.lost_on:
            undo_lost(session, patient, why="an answer came", now=now, by_id=None)
            found += 1
    since = exists().where(
        Response.patient_id == Flag.patient_id, Response.set_aside_at.is_(None), Response.recorded_at > Flag.raised_at
    )
    for flag in session.scalars(select(Flag).where(Flag.kind == KIND, Flag.settled_at.is_(None), since)).all():
        flag.settled_at, flag.settled_note = now, "An answer came."
        audit(session, "flag:settled", f"flag {flag.id}", now=now, kind=KIND)
    session.flush()
    return found


def _perhaps_lost(today: date) -> Select[Patient]:
    """Who has a closed window without an answer whose reminders were all sent, and is still followed."""
    silent = exists().where(
        Timepoint.patient_id == Patient.id,
        Timepoint.answered_on.is_(None),
        Timepoint.ladder_exhausted_on.is_not(None),
        Timepoint.closes_on < today,
    )
    waits = exists().where(Flag.patient_id == Patient.id, Flag.kind == KIND, Flag.settled_at.is_(None))
    return select(Patient).where(
        silent,
        ~waits,
        Patient.lost_on.is_(None),
        Patient.died_on.is_(None),
        Patient.withdrew_on.is_(None),
        Patient.transferred_on.is_(None),
        COUNTED,
    )


def _missed_in_a_row(session: Session, patient: Patient, today: date) -> Sequence[Timepoint]:
    """The last annual windows of one follow-up, if all were missed after every reminder; the earlier one first."""
    follow_ups = select(FollowUp.id).join(Timepoint).where(Timepoint.patient_id == patient.id).distinct()
    for follow_up_id in session.scalars(follow_ups).all():
        closed = select(Timepoint).where(Timepoint.follow_up_id == follow_up_id, Timepoint.closes_on < today)
        annual = [
            row
            for row in session.scalars(closed.order_by(Timepoint.due_on)).all()
            if TimepointCode.parse(row.code).unit == Unit.YEAR
        ][-IN_A_ROW:]
        if len(annual) == IN_A_ROW and all(_missed(row, today) for row in annual):
            return annual
    return []


def _missed(row: Timepoint, today: date) -> bool:
    return status_of(row, today) == Status.MISSED and row.ladder_exhausted_on is not None


def _everybody_was_tried(session: Session, patient: Patient, since: date) -> bool:
    """Nothing was answered since then, and the second contact person was tried, where there is one."""
    clinic = the_clinic(session)
    own = Response.patient_id == patient.id, Response.set_aside_at.is_(None)
    last = session.scalar(select(func.max(Response.received_at)).where(*own))
    if last is not None and clinic_day(clinic, last) >= since:
        return False
    if patient.second_contact is None:
        return True
    tries = select(ContactAttempt.at).where(
        ContactAttempt.patient_id == patient.id,
        ContactAttempt.to_second_contact.is_(True),
        ContactAttempt.taken_back_at.is_(None),
    )
    return any(clinic_day(clinic, at) >= since for at in session.scalars(tries))


def _dismissed(session: Session, patient: Patient, last: Timepoint) -> bool:
    """Somebody has looked already since the last of these windows closed."""
    raised = select(Flag.id).where(Flag.patient_id == patient.id, Flag.kind == KIND, Flag.timepoint_id == last.id)
    return session.scalar(raised.limit(1)) is not None
