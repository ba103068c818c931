"""Keeps the rows of a follow-up in step with its plan and its dates, 400 days ahead, and their facts and statuses with both.

Everything is computed from what is recorded today, so the same call serves a new fact and one that is put right: a surgery day that
moved, a death taken back. What follows from the rows of the shoulder's other follow-up is in clocks.py.
"""

import uuid
from datetime import date, datetime

from sqlalchemy import bindparam, delete, exists, or_, select
from sqlalchemy.orm import Session

from server.fields.operation_words import starts_follow_up
from server.models import ContactAttempt, Flag, FollowUp, Message, Operation, Patient, Response, Timepoint, Transition
from server.queries.current import mark_sheets_stale
from server.queries.facts import baseline_window_state, capacity_lost, dates_of, left_on
from server.schedule.follow_up_dates import EndReason
from server.schedule.plan import Plan
from server.schedule.reconcile import Existing, reconcile
from server.schedule.timepoint_code import TimepointCode
from server.schedule.timepoints import PlannedTimepoint, horizon, next_look_ahead, planned_timepoints
from server.schedule.window import window_state
from server.timepoints.asked import note_asked
from server.timepoints.clocks import lock_rows, settle_clocks
from server.timepoints.transitions import look_at
from server.trust.audit import audit

WENT_OUT = ("sent", "returned")  # what came back was written all the same, and stays on record
_ENDS = select(
    Patient.died_on, Patient.withdrew_on, Patient.transferred_on, Patient.capacity_lost_on, Patient.capacity_then,
    Patient.taken_back_at,
).where(Patient.id == bindparam("patient"))  # fmt: skip


def start_follow_up(session: Session, operation: Operation, plan: Plan, *, now: datetime, today: date) -> FollowUp:
    """A follow-up of this operation, with its first rows."""
    follow_up = FollowUp(
        operation=operation,
        attempt=1 + len(operation.follow_ups),
        plan_id=plan.id,
        plan_version=plan.version,
        started_on=today,
    )
    session.add(follow_up)
    session.flush()
    refresh_timepoints(session, follow_up, plan, now=now, today=today)
    return follow_up


def refresh_timepoints(
    session: Session, follow_up: FollowUp, plan: Plan | None, *, now: datetime, today: date, by_id: int | None = None
) -> bool:
    """Brings end, rows, facts and statuses to what is recorded today. True when anything changed. Safe to repeat.

    Without its plan (server.timepoints.plans, rule 3) the rows stay, and the daily pass catches up once it is back.
    """
    lock_rows(session, [follow_up.operation.shoulder_id])
    changed = _settle_end(session, follow_up, now, by_id)
    if plan is not None:
        changed = _follow_plan(session, follow_up, plan, now, today) or changed
    else:
        follow_up.look_ahead_on = today
    changed = _settle_facts(follow_up, plan) or changed
    session.flush()
    changed = settle_clocks(session, follow_up.operation.shoulder_id, now=now, today=today) or changed
    if changed:  # what passing days alone bring is for the pass over statuses
        look_at(session, follow_up.timepoints, now=now, today=today)
        mark_sheets_stale(session, {follow_up.operation.shoulder.patient_id})
    return changed


def _settle_end(session: Session, follow_up: FollowUp, now: datetime, by_id: int | None) -> bool:
    """Nothing more is expected from the first of death, withdrawal, transfer, lost capacity and cancelled surgery on; never for silence.

    Of an operation that was corrected to one without a follow-up nothing is, from the beginning.
    Of what was entered in error nothing ever was.
    """
    patient = session.execute(_ENDS, {"patient": follow_up.operation.shoulder.patient_id}).one()
    operation = follow_up.operation
    cancelled_on = operation.cancelled_on
    ends = [end for end in (left_on(patient), capacity_lost(patient)) if end is not None]
    ends += [(cancelled_on, EndReason.CANCELLED)] if cancelled_on is not None else []
    if not starts_follow_up(operation.kind, operation.stage):
        ends.append((follow_up.started_on, EndReason.NO_FOLLOW_UP))
    if operation.taken_back_at is not None or patient.taken_back_at is not None:
        ends = [(follow_up.started_on, EndReason.TAKEN_BACK)]
    on, reason = min(ends, default=(None, None))
    if (follow_up.ended_on, follow_up.end_reason) == (on, reason):
        return False
    follow_up.ended_on, follow_up.end_reason = on, reason
    action = "follow_up:goes_on" if on is None else "follow_up:ended"
    audit(session, action, f"follow-up {follow_up.id}", now=now, by_id=by_id, reason=reason and str(reason), on=on)
    return True


def _follow_plan(session: Session, follow_up: FollowUp, plan: Plan, now: datetime, today: date) -> bool:
    rows = {(row.code, row.attempt): row for row in follow_up.timepoints}
    existing = [_existing(row, follow_up) for row in rows.values()]
    planned = planned_timepoints(plan, dates_of(follow_up), until=date.max)
    # A corrected surgery day may put a row that is there, perhaps answered, beyond the days for which rows are made: it moves all the same.
    wanted = [each for each in planned if each.opens_on <= horizon(today) or (each.code, each.attempt) in rows]
    changes = reconcile(existing, wanted, today=today)
    for each in changes.create:
        follow_up.timepoints.append(_new_row(follow_up, each, plan, today))
    moved = [rows[move.existing.key] for move in changes.move]
    note_asked(session, moved)  # while the window is the one in which the phone showed the form
    for move in changes.move:
        _move(session, rows[move.existing.key], move.to, plan, today)
    if moved:
        session.flush()
        note_asked(session, moved)
    for gone in changes.withdraw:
        _withdraw(session, follow_up, rows[gone.key], now)
    follow_up.look_ahead_on = next_look_ahead(planned, today)
    return bool(changes)


def _existing(row: Timepoint, follow_up: FollowUp) -> Existing:
    return Existing(
        code=row.code,
        attempt=row.attempt,
        anchor_on=row.anchor_on,
        opens_on=row.opens_on,
        invites_on=row.invites_on,
        due_on=row.due_on,
        closes_on=row.closes_on,
        plan=f"{follow_up.plan_id}@{row.plan_version}",
        before_surgery=TimepointCode.parse(row.code).is_before_surgery,
        answered=row.answered_on is not None and row.answer_from_id is None,
        asked=row.asked_on is not None,
    )


def _new_row(follow_up: FollowUp, planned: PlannedTimepoint, plan: Plan, today: date) -> Timepoint:
    row = Timepoint(
        code=planned.code,
        attempt=planned.attempt,
        patient_id=follow_up.operation.shoulder.patient_id,
        form_id=str(uuid.uuid4()),
        placed_on=today,
    )
    _set_dates(row, planned, plan)
    return row


def _set_dates(row: Timepoint, planned: PlannedTimepoint, plan: Plan) -> None:
    row.anchor_on, row.opens_on, row.invites_on = planned.anchor_on, planned.opens_on, planned.invites_on
    row.due_on, row.closes_on, row.historical = planned.due_on, planned.closes_on, planned.historical
    if planned.plan == plan.name:
        row.plan_version = plan.version
    row.look_again_on = planned.opens_on


def _move(session: Session, row: Timepoint, planned: PlannedTimepoint, plan: Plan, today: date) -> None:
    """Steps that were let go at the old dates are due again at the new ones; whether anybody was asked is asked again."""
    _set_dates(row, planned, plan)
    row.placed_on = today
    unsent = or_(Message.outcome.is_(None), Message.outcome.not_in(WENT_OUT))
    session.execute(delete(Message).where(Message.timepoint_id == row.id, unsent))
    row.done_at = None
    if row.asked_on is not None and not _lies_in(row, row.asked_on):
        row.asked_on = None
    if row.ladder_exhausted_on is not None and not _lies_in(row, row.ladder_exhausted_on):
        row.ladder_exhausted_on = None


def _lies_in(row: Timepoint, day: date) -> bool:
    return row.opens_on <= day and (row.closes_on is None or day <= row.closes_on)


def _withdraw(session: Session, follow_up: FollowUp, row: Timepoint, now: datetime) -> None:
    """The plan has it no more and nothing is recorded about it: the row goes, the audit trail says so."""
    note_asked(session, [row])  # a phone may have fetched its form since the last pass
    recorded = (
        exists().where(Message.timepoint_id == row.id, Message.outcome.in_(WENT_OUT)),
        *(exists().where(table.timepoint_id == row.id) for table in (ContactAttempt, Flag, Response)),
    )
    if row.asked_on is not None or session.scalar(select(or_(*recorded))):
        return
    session.execute(delete(Message).where(Message.timepoint_id == row.id))
    session.execute(delete(Transition).where(Transition.timepoint_id == row.id))
    audit(session, "timepoint:withdrawn", f"timepoint {row.id}", now=now, code=row.code, opens_on=row.opens_on)
    follow_up.timepoints.remove(row)
    session.delete(row)


def _settle_facts(follow_up: FollowUp, plan: Plan | None) -> bool:
    """Whether each row is expected, and where its own answer lies."""
    (ended_on, reason), changed = dates_of(follow_up).end or (None, None), False
    for row in follow_up.timepoints:
        facts = (ended_on, reason, _window_state(row, follow_up, plan, ended_on))
        if (row.not_expected_on, row.not_expected_reason, row.window_state) != facts:
            row.not_expected_on, row.not_expected_reason, row.window_state = facts
            changed = True
    return changed


def _window_state(row: Timepoint, follow_up: FollowUp, plan: Plan | None, ended_on: date | None) -> str | None:
    """Whether a baseline was early is known only once the day of surgery is; any other answer moves with its window."""
    if row.answered_on is None or row.answer_from_id is not None:
        return row.window_state
    if not TimepointCode.parse(row.code).is_before_surgery:
        days = {"opens_on": row.opens_on, "closes_on": row.closes_on, "not_expected_on": ended_on}
        return str(window_state(row.answered_on, **days))
    if plan is None or plan.before is None:
        return row.window_state
    return str(baseline_window_state(follow_up.operation, row.answered_on, plan.before.early_over_days))
