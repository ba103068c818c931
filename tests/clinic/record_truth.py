"""What must hold of the record after every act, asked of the database alone."""

from collections.abc import Mapping
from datetime import date, timedelta
from itertools import combinations, groupby
from typing import Any

from sqlalchemy import inspect, select
from sqlalchemy.orm import Session

from server.clinic.history import TABLES
from server.fields.stored import written
from server.models import Base, FieldChange, FollowUp, Operation, Timepoint, Transition
from server.queries.current import is_offered
from server.queries.facts import standing_of
from server.schedule.status import Reason, Status
from tests.clinic.record_model import Model

Rows = dict[tuple[str, int], dict[str, str]]
MARKS = ("surgery_precision", "taken_back_at", "struck_at", "taken_out_id", "set_aside_at")
APART = timedelta(days=90)


def facts(session: Session) -> Rows:
    """Every recorded fact, as text: the fields of the tables that have a history, and the marks beside them."""
    found: Rows = {}
    models = {mapper.local_table.name: mapper.class_ for mapper in Base.registry.mappers}  # type: ignore[attr-defined]
    for name, fields in TABLES.items():
        columns = set(inspect(models[name]).columns.keys())
        names = columns & {*MARKS, *(each.name for each in fields), *(each.precision or "" for each in fields)}
        for row in session.scalars(select(models[name])):
            found[name, row.id] = {column: written(getattr(row, column)) for column in sorted(names)}
    return found


def last_change(session: Session) -> int:
    return session.scalars(select(FieldChange.id).order_by(FieldChange.id.desc()).limit(1)).first() or 0


def without_history(session: Session, before: Rows, since: int) -> list[str]:
    """Facts that are gone, or other than before without a row of the history that leads from the old value to the new one."""
    now = facts(session)
    told: dict[tuple[str, int, str], list[FieldChange]] = {}
    for change in session.scalars(select(FieldChange).where(FieldChange.id > since).order_by(FieldChange.id)):
        told.setdefault((change.table_name, change.row_id, change.field), []).append(change)
    wrong = [f"{row} is gone" for row in before if row not in now]
    for (table, row_id), values in before.items():
        for column, old in values.items():
            new = now.get((table, row_id), values)[column]
            if old == new or (table == "operation_log" and column != "taken_back_at"):
                continue  # a line of the log follows its operation
            steps = told.get((table, row_id, column), [])
            chain = [steps[0].old or "", *(each.new or "" for each in steps)] if steps else []
            if not chain or chain[0] != old or chain[-1] != new:
                wrong.append(f"{table} {row_id} {column}: {old!r} became {new!r}, the history says {chain}")
    return wrong


def broken_chains(session: Session) -> list[str]:
    """Transitions of a timepoint each begin where the one before ended, the first with `upcoming`."""
    rows = session.scalars(select(Transition).order_by(Transition.timepoint_id, Transition.id)).all()
    wrong = []
    for timepoint_id, chain in groupby(rows, key=lambda each: each.timepoint_id):
        last = str(Status.UPCOMING)
        for each in chain:
            if each.status_before != last:
                wrong.append(f"timepoint {timepoint_id}: {each.status_before} after {last}")
            last = each.status_after
    return wrong


def not_stated(session: Session, model: Model, today: date) -> list[str]:
    """Operations that start a follow-up and lack a planned timepoint, and timepoints without state, reason or since."""
    wrong = []
    rows = session.execute(select(Timepoint, FollowUp.operation_id).join(FollowUp)).all()
    codes: dict[int, set[str]] = {}
    for row, operation_id in rows:
        codes.setdefault(operation_id, set()).add(row.code)
        standing = standing_of(row, today)
        stated = standing.status in set(Status) and standing.reason in set(Reason)
        if not stated or (standing.since is None) != (standing.status == Status.UPCOMING):
            wrong.append(f"timepoint {row.id}: {standing}")
        asked = row.asked_on is not None or row.ladder_exhausted_on is not None
        if standing.status == Status.MISSED and not asked:
            wrong.append(f"timepoint {row.id} is missed, and nobody was asked")
    for person in model.people.values():
        for op in person.ops:
            wanted = {"baseline", *model.planned(op, today)} if op.followed else set()
            missing = wanted - codes.get(op.id, set())
            wrong += [f"operation {op.id} has no {code}" for code in sorted(missing)]
    return wrong


def sent_too_near(session: Session, today: date) -> list[str]:
    """Forms that are to be answered now and were not sent before, less than 90 days from one of another follow-up of the shoulder."""
    columns = (Timepoint, FollowUp.id, Operation.shoulder_id)
    rows = session.execute(select(*columns).join(FollowUp, FollowUp.id == Timepoint.follow_up_id).join(Operation)).all()
    offered = set(session.scalars(select(Timepoint.id).where(is_offered(today))))
    by_shoulder: Mapping[int, list[tuple[Any, int]]] = {}
    for row, follow_up_id, shoulder_id in rows:
        by_shoulder.setdefault(shoulder_id, []).append((row, follow_up_id))  # type: ignore[attr-defined]
    wrong = []
    for pairs in by_shoulder.values():
        for (one, its), (other, theirs) in combinations(pairs, 2):
            for now, before in ((one, other), (other, one)):
                new = now.id in offered and _sent_on(now) is None
                on = _sent_on(before) or (today if before.id in offered else None)
                if its != theirs and new and on is not None and today - on < APART:
                    wrong.append(f"timepoint {now.id} is offered, and {before.id} was on {on}")
    return wrong


def _sent_on(row: Timepoint) -> date | None:
    own = row.answered_on if row.answer_from_id is None else None
    return min((day for day in (row.asked_on, own) if day is not None), default=None)
