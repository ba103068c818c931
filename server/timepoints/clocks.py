"""Keeps the rows of a shoulder's follow-ups true to each other: whose form is sent, and whose answer counts for both.

What they should be is decided by the pure server.schedule.clocks; here it is read and written. Every change of a row's own facts is
followed by this, in the same transaction.
"""

from collections.abc import Collection, Sequence
from datetime import date, datetime
from typing import TypeVarTuple

from sqlalchemy import Select, bindparam, func, select
from sqlalchemy.orm import Session

from server.models import FollowUp, Operation, Timepoint
from server.queries.current import STANDS
from server.queries.facts import last_day_of
from server.schedule.clocks import FORMS_APART, Form, carriers, shared_answers
from server.schedule.timepoint_code import TimepointCode
from server.schedule.timepoints import due_when_invited_late
from server.schedule.window import WindowState
from server.timepoints.asked import note_asked, reached_outside
from server.timepoints.transitions import Answered, look_at, mark_answered

Columns = TypeVarTuple("Columns")

_TWO_CLOCKS = (
    select(Operation.shoulder_id)
    .join(FollowUp, FollowUp.operation_id == Operation.id)
    .where(STANDS)
    .group_by(Operation.shoulder_id)
    .having(func.count(FollowUp.id) > 1)
)
# Follow-ups whose shoulder has another one too.
SHARES_SHOULDER = FollowUp.operation_id.in_(select(Operation.id).where(Operation.shoulder_id.in_(_TWO_CLOCKS)))


def _of_shoulders(query: Select[*Columns]) -> Select[*Columns]:
    """Of the ids bound as `shoulders`."""
    joined = query.join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
    joined = joined.join(Operation, Operation.id == FollowUp.operation_id)
    return joined.where(Operation.shoulder_id.in_(bindparam("shoulders", expanding=True)), STANDS)


# Asked with each change of a row, and so put together once.
_THEIRS = (
    select(Operation.shoulder_id)
    .join(FollowUp, FollowUp.operation_id == Operation.id)
    .join(Timepoint, Timepoint.follow_up_id == FollowUp.id)
    .where(Timepoint.id.in_(bindparam("timepoints", expanding=True)))
)
_TWO_OF_THESE = _TWO_CLOCKS.where(Operation.shoulder_id.in_(_THEIRS)).order_by(Operation.shoulder_id)
_COUNTS = _of_shoulders(
    select(
        func.count(FollowUp.id.distinct()), func.count(Timepoint.carried_by_id), func.count(Timepoint.answer_from_id)
    )
)
_ROWS = _of_shoulders(select(Timepoint, FollowUp.id, Operation.position, FollowUp.attempt)).order_by(Timepoint.id)


def record_answered(session: Session, answers: Sequence[Answered], *, today: date, now: datetime) -> None:
    """The counted responses of their timepoints, and what follows for the other follow-ups of the same shoulders."""
    shoulders = _with_two_clocks(session, [each.timepoint.id for each in answers])
    lock_rows(session, shoulders)
    mark_answered(session, answers, today=today, now=now)
    for shoulder_id in shoulders:
        settle_clocks(session, shoulder_id, today=today, now=now)


def settle_clocks(session: Session, shoulder_id: int, *, today: date, now: datetime) -> bool:
    """True when anything changed. Safe to repeat."""
    clocks, *links = session.execute(_COUNTS, {"shoulders": [shoulder_id]}).one()
    if clocks < 2 and not any(links):
        return False
    found = session.execute(_ROWS, {"shoulders": [shoulder_id]}).all()
    note_asked(session, [row for row, *_ in found if row.done_at is None and row.opens_on <= today])
    order = sorted({(position, attempt, follow_up_id) for _, follow_up_id, position, attempt in found})
    outside = reached_outside(session, [row.id for row, *_ in found])
    forms = [
        _form(row, order.index((position, attempt, each)), outside.get(row.id))
        for row, each, position, attempt in found
    ]
    shared = shared_answers(forms)
    carried = carriers(forms, shared, today)
    by_id = {row.id: row for row, *_ in found}
    changed = [
        row
        for row in by_id.values()
        if _share(row, by_id.get(shared.get(row.id, 0))) | _carry(row, carried.get(row.id), today)
    ]
    session.flush()
    look_at(session, changed, now=now, today=today)
    return bool(changed)


def lock_rows(session: Session, shoulders: Collection[int]) -> None:
    """PostgreSQL: a status pass at the same moment would write the same transition as this, from what both read before.

    Whoever comes second waits here and then reads what the first has written. SQLite has one writer at a time.
    """
    if shoulders and session.get_bind().dialect.name == "postgresql":
        rows = _of_shoulders(select(Timepoint)).order_by(Timepoint.id).with_for_update(of=Timepoint)
        session.scalars(rows.execution_options(populate_existing=True), {"shoulders": list(shoulders)}).all()


def _with_two_clocks(session: Session, timepoints: Collection[int]) -> Sequence[int]:
    """Shoulders of these timepoints on which more than one follow-up runs."""
    return session.scalars(_TWO_OF_THESE, {"timepoints": list(timepoints)}).all()


def _form(row: Timepoint, clock: int, sent_outside_on: date | None) -> Form:
    own_answer = row.answered_on if row.answer_from_id is None else None
    counts_from = row.opens_on
    if TimepointCode.parse(row.code).is_before_surgery and row.anchor_on is not None:
        counts_from = row.anchor_on - FORMS_APART
    return Form(
        key=row.id,
        clock=clock,
        invites_on=row.invites_on,
        due_on=row.due_on,
        closes_on=row.closes_on,
        counts_from=counts_from,
        counts_to=row.closes_on,
        sent_on=min((day for day in (row.asked_on, own_answer) if day is not None), default=None),
        sent_outside_on=sent_outside_on,
        answered_on=own_answer,
        expected_until=row.not_expected_on,
        may_be_sent=not row.historical,
        shares=row.window_state != WindowState.RECALLED,
        carried_by=row.carried_by_id,
    )


def _share(row: Timepoint, source: Timepoint | None) -> bool:
    """True when another answer counts for the row than before."""
    if source is None and row.answer_from_id is None:
        return False
    at, on, source_id = (source.answered_at, source.answered_on, source.id) if source else (None, None, None)
    changed = (row.answer_from_id, row.answered_at) != (source_id, at)
    row.answer_from_id, row.answered_at, row.answered_on = source_id, at, on
    row.window_state = WindowState.IN if source else None
    return changed


def _carry(row: Timepoint, carrier_id: int | None, today: date) -> bool:
    """True when another form is sent in its place than before. What is sent after all invites today, with days to answer."""
    if row.carried_by_id == carrier_id:
        return False
    if carrier_id is None and row.answered_on is None and row.invites_on < today:
        row.due_on = due_when_invited_late(row.due_on, last_day_of(row), today)
        row.invites_on = today
    row.carried_by_id = carrier_id
    return True
