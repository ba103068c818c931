"""Keeps the rows of a follow-up in step with its plan and its dates, 400 days ahead."""

import uuid
from collections.abc import Collection
from datetime import date, datetime

from sqlalchemy import delete, func, or_, select
from sqlalchemy.orm import Session

from server.models import FollowUp, GateFetch, Link, Message, Operation, Timepoint, Transition
from server.queries.current import mark_sheets_stale
from server.queries.facts import baseline_window_state, dates_of
from server.schedule.follow_up_dates import EndReason
from server.schedule.plan import Plan
from server.schedule.reconcile import Existing, reconcile
from server.schedule.timepoint_code import TimepointCode
from server.schedule.timepoints import PlannedTimepoint, horizon, planned_timepoints
from server.timepoints.transitions import look_again, mark_not_expected
from server.trust.audit import audit


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


def refresh_timepoints(session: Session, follow_up: FollowUp, plan: Plan | None, *, now: datetime, today: date) -> bool:
    """Creates, moves and withdraws rows so that they match plan and dates. True when anything changed. Safe to repeat.

    Without its plan (server.timepoints.plans, rule 3) the rows stay, and the daily pass catches up once it is back.
    """
    _lock_rows(session, follow_up)
    changed = plan is not None and _refresh_once(session, follow_up, plan, now, today)
    if dates_of(follow_up).end is not None:
        changed = _expect_no_more(session, follow_up, now, today) or changed
    if changed:
        mark_sheets_stale(session, {follow_up.operation.shoulder.patient_id})
    return changed


def _lock_rows(session: Session, follow_up: FollowUp) -> None:
    """PostgreSQL: a status pass at the same moment would write the same transition as this, from what both read before.

    Whoever comes second waits here and then reads what the first has written. SQLite has one writer at a time.
    """
    if session.get_bind().dialect.name == "postgresql":
        rows = select(Timepoint).where(Timepoint.follow_up_id == follow_up.id).order_by(Timepoint.id)
        session.scalars(rows.with_for_update().execution_options(populate_existing=True)).all()


def _refresh_once(session: Session, follow_up: FollowUp, plan: Plan, now: datetime, today: date) -> bool:
    rows = {(row.code, row.attempt): row for row in follow_up.timepoints}
    asked = _asked(session, list(rows.values()))
    existing = [_existing(row, follow_up, asked) for row in rows.values()]
    planned = planned_timepoints(plan, dates_of(follow_up), until=horizon(today), historical=True)
    changes = reconcile(existing, planned, today=today)
    for each in changes.create:
        follow_up.timepoints.append(_new_row(follow_up, each, plan))
    for move in changes.move:
        _set_dates(rows[move.existing.key], move.to, plan)
        _forget_unsent(session, rows[move.existing.key])
    for gone in changes.withdraw:
        _withdraw(session, follow_up, rows[gone.key], now)
    session.flush()
    for row in follow_up.timepoints:
        restated = _restate_baseline(row, follow_up, plan)
        if restated or row.done_at is None:
            look_again(session, row, today=today, now=now)
    return bool(changes)


def _asked(session: Session, rows: Collection[Timepoint]) -> set[int]:
    """Rows the patient may have seen: a message about them was sent, or a sheet was fetched once they were open."""
    if not rows:
        return set()
    ids = [row.id for row in rows]
    sent = set(
        session.scalars(select(Message.timepoint_id).where(Message.timepoint_id.in_(ids), Message.outcome == "sent"))
    )
    patient_id = next(iter(rows)).patient_id
    fetches = select(func.max(GateFetch.fetched_at)).join(Link, Link.lookup_hash == GateFetch.lookup_hash)
    last = session.scalar(fetches.where(Link.patient_id == patient_id))
    return sent | {row.id for row in rows if last is not None and row.opens_on <= last.date()}


def _existing(row: Timepoint, follow_up: FollowUp, asked: set[int]) -> Existing:
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
        answered=row.answered_on is not None,
        asked=row.id in asked,
    )


def _new_row(follow_up: FollowUp, planned: PlannedTimepoint, plan: Plan) -> Timepoint:
    row = Timepoint(
        code=planned.code,
        attempt=planned.attempt,
        patient_id=follow_up.operation.shoulder.patient_id,
        form_id=str(uuid.uuid4()),
    )
    _set_dates(row, planned, plan)
    return row


def _set_dates(row: Timepoint, planned: PlannedTimepoint, plan: Plan) -> None:
    row.anchor_on, row.opens_on, row.invites_on = planned.anchor_on, planned.opens_on, planned.invites_on
    row.due_on, row.closes_on, row.plan_version = planned.due_on, planned.closes_on, plan.version
    row.look_again_on = planned.opens_on


def _forget_unsent(session: Session, row: Timepoint) -> None:
    """Steps that were let go at the old dates are due again at the new ones."""
    unsent = or_(Message.outcome.is_(None), Message.outcome != "sent")
    session.execute(delete(Message).where(Message.timepoint_id == row.id, unsent))


def _withdraw(session: Session, follow_up: FollowUp, row: Timepoint, now: datetime) -> None:
    """The plan has it no more and the patient never saw it: the row goes, the audit trail says so."""
    session.execute(delete(Message).where(Message.timepoint_id == row.id))
    session.execute(delete(Transition).where(Transition.timepoint_id == row.id))
    audit(session, "timepoint:withdrawn", f"timepoint {row.id}", now=now, code=row.code, opens_on=row.opens_on)
    follow_up.timepoints.remove(row)
    session.delete(row)


def _restate_baseline(row: Timepoint, follow_up: FollowUp, plan: Plan) -> bool:
    """Whether a baseline was early is known only once the day of surgery is."""
    if not TimepointCode.parse(row.code).is_before_surgery or row.answered_on is None or plan.before is None:
        return False
    state = baseline_window_state(follow_up.operation, row.answered_on, plan.before.early_over_days)
    changed = row.window_state != state
    row.window_state = state
    return changed


def end_follow_up(
    session: Session,
    follow_up: FollowUp,
    plan: Plan | None,
    *,
    reason: EndReason,
    on: date,
    now: datetime,
    today: date,
    by_id: int | None = None,
) -> None:
    """Nothing more is expected from `on`: death, withdrawal, transfer, cancelled surgery, revision. Silence is never a reason."""
    ended_before = follow_up.ended_on is not None and follow_up.ended_on <= on
    if ended_before and follow_up.end_reason != reason:  # the same reason again corrects the day
        return
    follow_up.ended_on, follow_up.end_reason = on, reason
    audit(session, "follow_up:ended", f"follow-up {follow_up.id}", now=now, by_id=by_id, reason=str(reason), on=on)
    refresh_timepoints(session, follow_up, plan, now=now, today=today)


def _expect_no_more(session: Session, follow_up: FollowUp, now: datetime, today: date) -> bool:
    end, changed = dates_of(follow_up).end, False
    if end is None:
        return False
    for row in follow_up.timepoints:
        if (row.not_expected_on, row.not_expected_reason) != end:
            mark_not_expected(session, row, on=end[0], reason=end[1], today=today, now=now)
            changed = True
    return changed
