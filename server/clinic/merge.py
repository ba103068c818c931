"""Makes two records of one person one. Nothing is copied or deleted: rows point to the kept record, and merge_undo.py points them back.

The other record stays as an alias: its study number finds the kept patient, its link opens what the kept patient has due, and what is
sealed for it still arrives (server/intake/open.py). Answers are sealed anew under the kept patient's key; envelopes keep their own.
Where both records hold one operation, the kept one's forms are asked, and what comes for the other's counts there (`same_as_id`). What
the kept operation lacks is filled from the other; what differs in both was told before (same_operation.py), and the kept one's stands.
"""

import json
from collections.abc import Iterator
from typing import Any

from sqlalchemy import Table, select, update
from sqlalchemy.orm import Session

from server.clinic.contradiction import refuse_first, refuse_if
from server.clinic.history import change_row
from server.clinic.merge_plan import MergePlan, SideMerge
from server.clinic.misplaced import Act, Ciphers
from server.clinic.operations import first_free_position
from server.clinic.reported_events import shoulder_of
from server.forms.stored import open_answers, seal_answers
from server.models import (
    Base,
    Component,
    FollowUp,
    Operation,
    OperationLog,
    Patient,
    PatientMerge,
    Response,
    Shoulder,
    Timepoint,
)
from server.schedule.after_contact import ENDING
from server.timepoints.restate import restate
from server.trust.audit import audit

# Tables whose rows stay with the record that they were made for, or are moved one by one below.
OF_THE_RECORD = {"patient", "patient_merge", "consent", "link", "shoulder", "timepoint", "response", "patient_view"}
OF_THE_SHOULDER = {"operation"}
OF_THE_OPERATION = {"operation", "component", "follow_up", "operation_log"}
OF_THE_TIMEPOINT = {"timepoint", "transition", "message", "response"}


class _Moves:
    """Points rows elsewhere, and keeps what was so before."""

    def __init__(self, session: Session) -> None:
        self.session, self.made = session, list[list[Any]]()

    def point(self, table: Table, row_id: int, **columns: tuple[Any, Any]) -> None:
        """`columns`: what stood there and what stands there now. At once, since several may be unique only together."""
        after = {name: value[1] for name, value in columns.items()}
        self.session.execute(update(table).where(table.c.id == row_id).values(after))
        self.made.append([table.name, row_id, columns])

    def all_of(self, target: str, before: int, after: int, *, without: set[str]) -> None:
        """Every row of any table that refers to one row of `target`."""
        for table, column in _references(target):
            if table.name not in without:
                rows = select(table.c.id).where(table.c[column] == before)
                for row_id in self.session.scalars(rows).all():
                    self.point(table, row_id, **{column: (before, after)})


def _references(target: str) -> Iterator[tuple[Table, str]]:
    for table in Base.metadata.sorted_tables:
        for column in table.columns:
            if any(key.column.table.name == target for key in column.foreign_keys):
                yield table, column.name


def merge(
    session: Session, plan: MergePlan, act: Act, keys: Ciphers, *, other_birth_year: bool = False
) -> PatientMerge:
    """Does what the plan says, which must have been made after `lock_records`, so that nothing has changed since.

    Raises Contradiction when something speaks against it, or when the birth years were not asked about.
    """
    refuse_first(plan.refused)
    refuse_if(
        plan.asked and not other_birth_year,
        "They were born in different years. Say that it is one person all the same.",
    )
    kept, alias = plan.kept, plan.alias
    moves = _Moves(session)
    why = merge_why(alias.study_number, act.why)
    for side in plan.sides:
        _merge_side(session, moves, side, kept)
        _complete(session, side, act, why)
    moves.all_of("patient", alias.id, kept.id, without=OF_THE_RECORD)
    for earlier in session.scalars(select(Patient.id).where(Patient.merged_into_id == alias.id)).all():
        moves.point(
            table_of(Patient), earlier, merged_into_id=(alias.id, kept.id)
        )  # so that an alias names the record that counts
    _move_responses(session, moves, alias, kept, keys)
    alias.merged_into_id = kept.id
    change_row(session, kept, plan.ends, now=act.now, by_id=act.by_id, why=why)
    for consent in kept.consents:
        if consent.kind in plan.consents_ending and consent.withdrawn_on is None and consent.set_aside_at is None:
            change_row(
                session,
                consent,
                {"withdrawn_on": max(act.today, consent.given_on)},
                now=act.now,
                by_id=act.by_id,
                why=why,
            )
    row = PatientMerge(
        kept_id=kept.id, alias_id=alias.id, alias_study_number=alias.study_number, moved=json.dumps(moves.made), why=act.why,
        other_birth_year=plan.asked, merged_at=act.now, merged_by_id=act.by_id,
    )  # fmt: skip
    session.add(row)
    session.flush()
    audit(session, "patient:merged", f"patient {kept.id}", now=act.now, by_id=act.by_id, alias=alias.study_number)
    settle(session, (kept, alias), act)
    return row


def merge_why(alias_study_number: str, why: str | None) -> str:
    """The reason beside each change that a merge makes in the kept record; by it the undo finds them again."""
    return f"{alias_study_number} is the same person: {why or ''}"


def _merge_side(session: Session, moves: _Moves, side: SideMerge, kept: Patient) -> None:
    if side.kept is None:
        moves.point(table_of(Shoulder), side.shoulder.id, patient_id=(side.shoulder.patient_id, kept.id))
        for operation in side.moves:
            _move_timepoints(session, moves, operation, kept)
        return
    position = first_free_position(side.kept)
    for operation in side.moves:
        there = {"position": (operation.position, position), "shoulder_id": (side.shoulder.id, side.kept.id)}
        moves.point(table_of(Operation), operation.id, **there)
        _move_timepoints(session, moves, operation, kept)
        position += 1
    for same in side.same:
        _same_operation(session, moves, same.other, same.kept)
    _move_components(moves, side)
    _move_first_stages(moves, side)
    moves.all_of("shoulder", side.shoulder.id, side.kept.id, without=OF_THE_SHOULDER)


def _move_timepoints(session: Session, moves: _Moves, operation: Operation, kept: Patient) -> None:
    rows = select(Timepoint).join(FollowUp).where(FollowUp.operation_id == operation.id)
    for row in session.scalars(rows).all():
        moves.point(table_of(Timepoint), row.id, patient_id=(row.patient_id, kept.id))


def _same_operation(session: Session, moves: _Moves, alias: Operation, kept: Operation) -> None:
    """What hangs on the operation of the record that goes hangs on the kept one."""
    moves.all_of("operation", alias.id, kept.id, without=OF_THE_OPERATION)
    _move_line(session, moves, alias, kept)
    rows = select(Timepoint).join(FollowUp)
    there = {(row.code, row.attempt): row for row in session.scalars(rows.where(FollowUp.operation_id == kept.id))}
    for row in session.scalars(rows.where(FollowUp.operation_id == alias.id)).all():
        twin = there.get((row.code, row.attempt))
        if twin is not None:
            moves.point(table_of(Timepoint), row.id, same_as_id=(row.same_as_id, twin.id))
            moves.all_of("timepoint", row.id, twin.id, without=OF_THE_TIMEPOINT)
            if (
                row.last_try in ENDING and twin.last_try not in ENDING
            ):  # whoever declined is not reminded by the other record
                moves.point(table_of(Timepoint), twin.id, last_try=(twin.last_try, row.last_try))


def _move_line(session: Session, moves: _Moves, alias: Operation, kept: Operation) -> None:
    """The line of the log, so that it counts again where the kept operation turns out to be an error. One operation has one line."""
    of_both = select(OperationLog).where(OperationLog.operation_id.in_((alias.id, kept.id)))
    lines = {line.operation_id: line for line in session.scalars(of_both)}
    if alias.id in lines and kept.id not in lines:
        moves.point(table_of(OperationLog), lines[alias.id].id, operation_id=(alias.id, kept.id))


def _move_components(moves: _Moves, side: SideMerge) -> None:
    """Those that the kept record lacks. One that is in both stays where it is, so that it lies in the shoulder once."""
    now_at = {each.other.id: each.kept.id for each in side.same}
    stay = {each.other.id for same in side.same for each in same.components}
    for component in (each for operation in side.shoulder.operations for each in operation.put_in):
        if component.id in stay or component.struck_at is not None:
            continue
        at = {"put_in_id": component.put_in_id, "taken_out_id": component.taken_out_id}
        there = {name: (before, now_at[before]) for name, before in at.items() if before in now_at}
        if there:
            moves.point(table_of(Component), component.id, **there)


def _move_first_stages(moves: _Moves, side: SideMerge) -> None:
    """The second stage of an exchange names the first one that counts."""
    now_at = {each.other.id: each.kept.id for each in side.same}
    wanted = [(each, each.first_stage_id) for each in side.moves]
    wanted += [(each.kept, each.other.first_stage_id) for each in side.same if each.kept.first_stage_id is None]
    for operation, first in wanted:
        after = now_at.get(first, first) if first is not None else None
        if after != operation.first_stage_id:
            moves.point(table_of(Operation), operation.id, first_stage_id=(operation.first_stage_id, after))


def _complete(session: Session, side: SideMerge, act: Act, why: str) -> None:
    """What is empty in the kept shoulder, its operations and their components is filled from the other record."""
    stamp: Any = {"now": act.now, "by_id": act.by_id, "why": why}
    if side.kept is not None and side.completed is not None:
        change_row(session, side.kept, side.completed.fills, **stamp)
    now_at = {each.other.id: each.kept.id for each in side.same}
    for same in side.same:
        change_row(session, same.kept, same.completed.fills, **stamp)
        for each in same.components:
            out = each.other.gone_at
            taken_out = {"taken_out_id": now_at.get(out.id, out.id)} if each.kept.gone_at is None and out else {}
            change_row(session, each.kept, {**each.completed.fills, **taken_out}, **stamp)


def _move_responses(session: Session, moves: _Moves, alias: Patient, kept: Patient, keys: Ciphers) -> None:
    """Each under the kept patient's key, at the kept form where both records ask the same.

    Of two answers to one form that counts which was received first, as everywhere (server/intake/README.md).
    """
    session.expire_all()
    for response in session.scalars(
        select(Response).where(Response.patient_id == alias.id).order_by(Response.received_at, Response.id)
    ).all():
        timepoint = session.get(Timepoint, response.timepoint_id) if response.timepoint_id else None
        same_as_id = timepoint.same_as_id if timepoint else None
        if shoulder_of(session, response).patient_id == alias.id and same_as_id is None:
            continue  # its form stays with the record that goes
        reseal(response, alias, kept, keys)
        moves.point(table_of(Response), response.id, patient_id=(alias.id, kept.id))
        if timepoint is None or same_as_id is None:
            continue
        if response.counted:
            _count_one(session, moves, response, same_as_id)
        moves.point(table_of(Response), response.id, timepoint_id=(timepoint.id, same_as_id))
    session.expire_all()


def _count_one(session: Session, moves: _Moves, response: Response, timepoint_id: int) -> None:
    """Of this answer and the one that counts at the kept form already, the later one counts no longer."""
    there = session.scalars(select(Response).where(Response.timepoint_id == timepoint_id, Response.counted)).first()
    if there is not None:
        later = response if there.received_at <= response.received_at else there
        moves.point(table_of(Response), later.id, counted=(True, False))


def reseal(response: Response, before: Patient, after: Patient, keys: Ciphers) -> None:
    answers = open_answers(response.answers, keys.patient_cipher(before.handle))
    response.answers = seal_answers(answers, keys.patient_cipher(after.handle))


def settle(session: Session, patients: tuple[Patient, ...], act: Act) -> None:
    """Rows, facts and statuses of these patients follow from what is recorded now."""
    session.flush()
    session.expire_all()
    for patient in patients:
        restate(session, patient, now=act.now, today=act.today, by_id=act.by_id)


def table_of(model: type[Base]) -> Table:
    return Base.metadata.tables[model.__tablename__]
