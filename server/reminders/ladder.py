"""Puts the ladder's due steps into the outbox, and says when a ladder is exhausted.

Rules:

1. A step that may not be sent gets its row too, with the reason.
2. A timepoint whose form is withheld, because a text of it may not be sent (server.queries.texts_in_force), is left as it is: no row, so
   that its steps come once the text may be sent. So is one whose plan is unusable (server.timepoints.plans).
3. A ladder is exhausted, and its timepoint a non-responder, once every step is settled and at least one of them was sent. Whoever
   was never written to (no consent, no address for the channel, sending failed each time) did not stay silent: such a timepoint
   stays open or overdue until a person reaches the patient or the window closes.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, exists, false, or_, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from server.models import FollowUp, Message, Patient, Timepoint
from server.queries.facts import facts_of
from server.queries.texts_in_force import Wording, read_wording
from server.reminders.chunks import in_chunks
from server.reminders.outside import Outside, log, shortly
from server.reminders.reach import not_to_be_written_to
from server.schedule.ladder import due_steps, is_exhausted
from server.schedule.plan import LadderStep, Plan
from server.store.engine import Store
from server.timepoints.plans import read_plans
from server.timepoints.record import mark_ladder_exhausted


@dataclass
class Made:
    made: int = 0
    let_go: int = 0
    exhausted: int = 0
    failed: int = 0


def make_messages(store: Store, outside: Outside, *, now: datetime, today: date) -> Made:
    """A row for each step due. All steps of one patient come in one transaction, so that both shoulders can share a message."""
    report = Made()
    with store.reading() as session:
        due = _step_due(read_plans(session).usable, today)
    for patients in in_chunks(store, lambda last: _patients_after(last, due)):
        with store.writing() as session:
            for patient_id in patients:
                _make_for_patient(session, outside, patient_id, due, report, now=now, today=today)
    return report


def _step_due(plans: Mapping[str, Plan], today: date) -> ColumnElement[bool]:
    """Over timepoint and follow_up: it is waited for, and a step of its plan's ladder is due that has no row yet."""
    steps = [_no_row_for(plan, step, today) for plan in plans.values() for step in plan.ladder]
    return and_(
        Timepoint.done_at.is_(None),
        Timepoint.ladder_exhausted_on.is_(None),
        Timepoint.opens_on <= today,
        or_(Timepoint.closes_on.is_(None), Timepoint.closes_on >= today),
        or_(false(), *steps),
    )


def _no_row_for(plan: Plan, step: LadderStep, today: date) -> ColumnElement[bool]:
    row = select(Message.id).where(
        Message.timepoint_id == Timepoint.id, Message.step == step.step, Message.channel == step.channel
    )
    return and_(
        FollowUp.plan_id == plan.id,
        Timepoint.plan_version == plan.version,
        Timepoint.invites_on <= today - timedelta(days=step.after_invite_days),
        ~exists(row.correlate(Timepoint)),
    )


def _patients_after(last: int, due: ColumnElement[bool]) -> Select[int]:
    rows = select(Timepoint.patient_id).join(FollowUp, Timepoint.follow_up_id == FollowUp.id)
    return rows.where(due, Timepoint.patient_id > last).order_by(Timepoint.patient_id).distinct()


def _make_for_patient(
    session: Session,
    outside: Outside,
    patient_id: int,
    due: ColumnElement[bool],
    report: Made,
    *,
    now: datetime,
    today: date,
) -> None:
    rows = select(Timepoint).join(FollowUp, Timepoint.follow_up_id == FollowUp.id)
    timepoints = session.scalars(rows.where(due, Timepoint.patient_id == patient_id).order_by(Timepoint.id)).all()
    wording, language = read_wording(session, outside.library), session.get_one(Patient, patient_id).language
    for timepoint_id in [timepoint.id for timepoint in timepoints]:
        try:
            with session.begin_nested():
                timepoint = session.get_one(Timepoint, timepoint_id)
                plan = read_plans(session).of(timepoint)
                if not is_withheld(plan, timepoint, wording, language):
                    _make_for_timepoint(session, timepoint, plan, report, now=now, today=today)
        except Exception as problem:
            log.error("no messages were made for timepoint %s: %s", timepoint_id, shortly(problem))
            report.failed += 1


def is_withheld(plan: Plan, timepoint: Timepoint, wording: Wording, language: str) -> bool:
    """Whether its form is not on the due sheet of a patient of `language`, because a text may not be sent."""
    return wording.withholds((part.instrument for part in plan.entry(timepoint.code).parts), language)


def _make_for_timepoint(
    session: Session, timepoint: Timepoint, plan: Plan, report: Made, *, now: datetime, today: date
) -> None:
    there = set(session.scalars(select(Message.step).where(Message.timepoint_id == timepoint.id)))
    due = due_steps(plan.ladder, invites_on=timepoint.invites_on, today=today, settled=there, facts=facts_of(timepoint))
    for step in due.passed_over:
        report.let_go += _insert(session, timepoint, step, "passed_over", now)
    if due.send is not None:
        patient = session.get_one(Patient, timepoint.patient_id)
        outcome = not_to_be_written_to(patient, due.send.channel, today)
        inserted = _insert(session, timepoint, due.send, outcome, now)
        report.made += inserted if outcome is None else 0
        report.let_go += inserted if outcome is not None else 0
    report.exhausted += end_ladder(session, timepoint, plan.ladder, now=now, today=today)


def _insert(session: Session, timepoint: Timepoint, step: LadderStep, outcome: str | None, now: datetime) -> int:
    """1, or 0 when the row was there: another pass made it."""
    insert: Any = postgresql.insert if session.get_bind().dialect.name == "postgresql" else sqlite.insert
    values = {
        "timepoint_id": timepoint.id,
        "step": step.step,
        "channel": step.channel,
        "made_at": now,
        "lease_no": 0,
        "tries": 0,
        "outcome": outcome,
        "done_at": None if outcome is None else now,
    }
    made = insert(Message).values(values).on_conflict_do_nothing().returning(Message.id)
    return len(session.scalars(made).all())


def end_ladder(
    session: Session, timepoint: Timepoint, ladder: Sequence[LadderStep], *, now: datetime, today: date
) -> bool:
    """Marks the ladder as exhausted by rule 3, while an answer is still waited for. True when this call did."""
    if timepoint.ladder_exhausted_on is not None or timepoint.done_at is not None:
        return False
    wanted = select(Message.step, Message.outcome)
    rows = session.execute(wanted.where(Message.timepoint_id == timepoint.id, Message.done_at.is_not(None))).all()
    if not is_exhausted(ladder, {row.step for row in rows}) or all(row.outcome != "sent" for row in rows):
        return False
    mark_ladder_exhausted(session, timepoint, on=today, now=now)
    return True
