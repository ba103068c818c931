"""Facts about timepoints are written here, each with the transition it brings and the day to look again."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session

from server.models import Timepoint, Transition
from server.queries.facts import facts_of, status_of
from server.schedule.status import Status, is_done, look_again_on, transition
from server.schedule.status import Transition as Change
from server.schedule.window import WindowState
from server.store.bulk import insert_rows, update_rows

BATCH = 500  # ids in one query: SQLite takes some thousands, PostgreSQL 65,535
# Asked with each change of a row, and so put together once.
_LAST = select(Transition.timepoint_id, Transition.status_after).where(
    Transition.id.in_(
        select(func.max(Transition.id))
        .where(Transition.timepoint_id.in_(bindparam("timepoints", expanding=True)))
        .group_by(Transition.timepoint_id)
    )
)


def last_statuses(session: Session, ids: Sequence[int]) -> dict[int, Status]:
    """The status last written down for each of these timepoints; those without any history are left out."""
    found: dict[int, Status] = {}
    for start in range(0, len(ids), BATCH):
        rows = session.execute(_LAST, {"timepoints": ids[start : start + BATCH]})
        found.update({row.timepoint_id: Status(row.status_after) for row in rows})
    return found


def look_again(session: Session, timepoint: Timepoint, *, today: date, now: datetime) -> Status:
    """Computes the status from the facts; appends a transition if it changed; sets when to look next. Safe to repeat."""
    before = last_statuses(session, [timepoint.id]).get(timepoint.id, Status.UPCOMING)
    after = turn(session, timepoint, before, today=today, now=now)
    session.flush()
    return after


def turn(session: Session, timepoint: Timepoint, before: Status, *, today: date, now: datetime) -> Status:
    """The same where `before`, the status last written down, was read for many at once; whoever calls flushes for all of them.

    Raises ValueError for facts that contradict each other, and then has changed nothing.
    """
    facts = facts_of(timepoint)
    change, next_on, done = transition(before, facts, today), look_again_on(facts, today), is_done(facts, today)
    if change is not None:
        session.add(
            Transition(
                timepoint_id=timepoint.id,
                at=now,
                status_before=change.before,
                status_after=change.after,
                reason=change.happened,
            )
        )
    timepoint.look_again_on = next_on
    timepoint.done_at = (timepoint.done_at or now) if done else None
    return change.after if change else before


def look_at(session: Session, rows: Iterable[Timepoint], *, now: datetime, today: date) -> bool:
    """Writes down every status that is not the last one known, also of rows that nobody need look at any more."""
    rows = list(rows)
    before, changed = last_statuses(session, [row.id for row in rows]), False
    for row in rows:
        known = before.get(row.id, Status.UPCOMING)
        if row.done_at is None or status_of(row, today) != known:
            changed = turn(session, row, known, today=today, now=now) != known or changed
    session.flush()
    return changed


@dataclass(frozen=True)
class Answered:
    """The counted response of a timepoint: when it was finished, the same on the clinic's calendar, and where that lies."""

    timepoint: Timepoint
    at: datetime
    on: date
    window_state: WindowState
    by_id: int | None = None


def mark_answered(session: Session, answers: Sequence[Answered], *, today: date, now: datetime) -> None:
    """Many at once, in three statements: what was known, the transitions, the rows."""
    before = last_statuses(session, [each.timepoint.id for each in answers])
    transitions, changes = [], []
    for each in answers:
        row = each.timepoint
        facts = replace(facts_of(row), answered_on=each.on, answered_state=each.window_state, other_answer=False)
        change = transition(before.get(row.id, Status.UPCOMING), facts, today)
        if change is not None:
            transitions.append(_transition(row, change, each.by_id, now))
        values = {
            "answered_at": each.at,
            "answered_on": each.on,
            "window_state": str(each.window_state),
            "answer_from_id": None,
            "look_again_on": look_again_on(facts, today),
            "done_at": (row.done_at or now) if is_done(facts, today) else None,
        }
        changes.append((row, values))
    insert_rows(session, Transition, transitions)
    update_rows(session, changes)


def _transition(row: Timepoint, change: Change, by_id: int | None, now: datetime) -> dict[str, object]:
    return {
        "timepoint_id": row.id,
        "at": now,
        "status_before": str(change.before),
        "status_after": str(change.after),
        "reason": str(change.happened),
        "by_id": by_id,
    }


def mark_ladder_exhausted(session: Session, timepoint: Timepoint, *, on: date, now: datetime) -> Status:
    """Every step of the ladder is settled and at least one message was sent."""
    timepoint.ladder_exhausted_on = timepoint.ladder_exhausted_on or on
    return look_again(session, timepoint, today=on, now=now)
