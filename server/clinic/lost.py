"""Lost to questionnaires: proposed by rule, confirmed by a person, undone by any answer.

Proposed when two annual windows in a row were missed, every reminder of both was sent, the second contact person (where one is known) was
tried since, and nothing at all was answered meanwhile. The proposal is a flag. Confirmed, the patient is lost from the day of the last
contact; they are asked as before, and any later answer undoes it.
"""

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime
from itertools import groupby
from typing import Any

from sqlalchemy import Row, Select, exists, func, select
from sqlalchemy.orm import Session

from server.clinic.history import change_row
from server.models import ContactAttempt, Flag, Patient, Response, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.queries.current import COUNTED
from server.queries.facts import STATUS_COLUMNS, TimepointRow, status_of
from server.queries.last_known import last_known_of
from server.schedule.status import Status
from server.schedule.timepoint_code import Unit
from server.trust.audit import audit

KIND = "lost_proposal"
IN_A_ROW = 2


def propose_lost(session: Session, *, now: datetime, among: Collection[int] | None = None) -> int:
    """Raises a flag for each patient, or each of those `among` them, whom the rule finds; how many. Safe to repeat."""
    today = clinic_day(the_clinic(session), now)
    wanted = perhaps_lost_on(today) if among is None else perhaps_lost_on(today).where(Patient.id.in_(among))
    silent = _missed_in_a_row(session, session.scalars(wanted).all(), today)
    tried = _everybody_was_tried(session, {patient_id: missed[0].opens_on for patient_id, missed in silent.items()})
    known = _looked_at(session, silent)
    found = [(each, silent[each][-1].id) for each in sorted(tried) if (each, silent[each][-1].id) not in known]
    for patient_id, timepoint_id in found:
        session.add(Flag(kind=KIND, patient_id=patient_id, timepoint_id=timepoint_id, raised_at=now))
        audit(session, "lost:proposed", f"patient {patient_id}", now=now)
    session.flush()
    return len(found)


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
    clinic = the_clinic(session)
    found = 0
    for patient, last in session.execute(_LOST_WITH_ANSWERS).all():
        if patient.lost_on is not None and clinic_day(clinic, last) > patient.lost_on:
            undo_lost(session, patient, why="an answer came", now=now, by_id=None)
            found += 1
    for flag in session.scalars(_ANSWERED_SINCE).all():
        flag.settled_at, flag.settled_note = now, "An answer came."
        audit(session, "flag:settled", f"flag {flag.id}", now=now, kind=KIND)
    session.flush()
    return found


def _lost_with_answers() -> Select[Patient, datetime]:
    """Each with the instant of the last answer."""
    who = select(Patient.id).where(Patient.lost_on.is_not(None))
    last = (
        select(Response.patient_id, func.max(Response.finished_at).label("at"))
        .where(Response.patient_id.in_(who), Response.set_aside_at.is_(None))
        .group_by(Response.patient_id)
        .subquery()
    )
    return select(Patient, last.c.at).join(last, last.c.patient_id == Patient.id).order_by(Patient.id)


# Both are asked after each answer, and so put together once.
_LOST_WITH_ANSWERS = _lost_with_answers()
_ANSWERED_SINCE = select(Flag).where(
    Flag.kind == KIND,
    Flag.settled_at.is_(None),
    exists().where(
        Response.patient_id == Flag.patient_id, Response.set_aside_at.is_(None), Response.recorded_at > Flag.raised_at
    ),
)


def perhaps_lost_on(today: date) -> Select[int]:
    """Who has a closed window without an answer whose reminders were all sent, and is still followed."""
    silent = exists().where(
        Timepoint.patient_id == Patient.id,
        Timepoint.answered_on.is_(None),
        Timepoint.ladder_exhausted_on.is_not(None),
        Timepoint.closes_on < today,
    )
    waits = exists().where(Flag.patient_id == Patient.id, Flag.kind == KIND, Flag.settled_at.is_(None))
    return select(Patient.id).where(
        silent,
        ~waits,
        Patient.lost_on.is_(None),
        Patient.died_on.is_(None),
        Patient.withdrew_on.is_(None),
        Patient.transferred_on.is_(None),
        COUNTED,
    )


def _missed_in_a_row(
    session: Session, patients: Collection[int], today: date
) -> dict[int, Sequence[Row[*tuple[Any, ...]]]]:
    """By patient, the last annual windows of one follow-up, if all were missed after every reminder; the earlier one first."""
    columns = (Timepoint.id, Timepoint.patient_id, Timepoint.follow_up_id, *STATUS_COLUMNS)
    closed = select(*columns).where(
        Timepoint.patient_id.in_(patients), Timepoint.code.like(f"{Unit.YEAR}-%"), Timepoint.closes_on < today
    )
    found: dict[int, Sequence[Row[*tuple[Any, ...]]]] = {}
    in_order = session.execute(closed.order_by(Timepoint.follow_up_id, Timepoint.due_on))
    for _, rows in groupby(in_order, key=lambda row: row.follow_up_id):
        last = list(rows)[-IN_A_ROW:]
        if len(last) == IN_A_ROW and all(_missed(row, today) for row in last):
            found.setdefault(last[0].patient_id, last)
    return found


def _missed(row: TimepointRow, today: date) -> bool:
    return status_of(row, today) == Status.MISSED and row.ladder_exhausted_on is not None


def _everybody_was_tried(session: Session, since: Mapping[int, date]) -> set[int]:
    """Those of whom nothing was answered since their day, and the second contact person was tried, where there is one."""
    clinic, of_patient = the_clinic(session), Response.patient_id
    last = select(of_patient, func.max(Response.received_at).label("at")).where(
        of_patient.in_(since), Response.set_aside_at.is_(None)
    )
    answered = {
        row.patient_id
        for row in session.execute(last.group_by(of_patient))
        if clinic_day(clinic, row.at) >= since[row.patient_id]
    }
    tries = select(ContactAttempt.patient_id, ContactAttempt.at).where(
        ContactAttempt.patient_id.in_(since),
        ContactAttempt.to_second_contact.is_(True),
        ContactAttempt.taken_back_at.is_(None),
    )
    tried = {row.patient_id for row in session.execute(tries) if clinic_day(clinic, row.at) >= since[row.patient_id]}
    alone = select(Patient.id).where(Patient.id.in_(since), Patient.second_contact.is_(None))
    return {*session.scalars(alone), *tried} - answered


def _looked_at(session: Session, patients: Collection[int]) -> set[tuple[int, int]]:
    """Patients and timepoints about which the question was raised before: somebody has looked already."""
    raised = select(Flag.patient_id, Flag.timepoint_id).where(Flag.patient_id.in_(patients), Flag.kind == KIND)
    return {(row.patient_id, row.timepoint_id) for row in session.execute(raised)}
