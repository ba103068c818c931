"""Makes two records of one person one, and undoes it. Nothing is copied or deleted: rows point to the kept record, and back.

The other record stays as an alias: its study number finds the kept patient, its link opens what the kept patient has due, and what is
sealed for it still arrives (server/intake/open.py). Answers are sealed anew under the kept patient's key; envelopes keep their own.
Where both records hold one operation, the kept one's forms are asked, and what comes for the other's counts there (`same_as_id`).
"""

import json
from collections.abc import Iterator
from datetime import date
from typing import Any

from sqlalchemy import Table, select, update
from sqlalchemy.orm import Session

from server.clinic.contradiction import refuse_first, refuse_if
from server.clinic.history import change_row
from server.clinic.merge_plan import MergePlan, SideMerge
from server.clinic.misplaced import Act, Ciphers
from server.clinic.operations import first_free_position
from server.fields.stored import written
from server.forms.stored import open_answers, seal_answers
from server.models import (
    Base,
    ClinicFinding,
    ContactAttempt,
    Envelope,
    FieldChange,
    Flag,
    FollowUp,
    Link,
    Operation,
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
OF_THE_RECORD = {"patient", "patient_merge", "consent", "link", "shoulder", "timepoint", "response"}
OF_THE_SHOULDER = {"operation"}
OF_THE_OPERATION = {"operation", "follow_up", "operation_log"}
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
    """Does what the plan says. Raises Contradiction when something speaks against it, or when the birth years were not asked about."""
    refuse_first(plan.refused)
    refuse_if(
        plan.asked and not other_birth_year,
        "They were born in different years. Say that it is one person all the same.",
    )
    kept, alias = plan.kept, plan.alias
    moves = _Moves(session)
    for side in plan.sides:
        _merge_side(session, moves, side, kept)
    moves.all_of("patient", alias.id, kept.id, without=OF_THE_RECORD)
    for earlier in session.scalars(select(Patient.id).where(Patient.merged_into_id == alias.id)).all():
        moves.point(
            _table(Patient), earlier, merged_into_id=(alias.id, kept.id)
        )  # so that an alias names the record that counts
    _move_responses(session, moves, alias, kept, keys)
    alias.merged_into_id = kept.id
    why = f"{alias.study_number} is the same person: {act.why}"
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
    _settle(session, (kept, alias), act)
    return row


def _merge_side(session: Session, moves: _Moves, side: SideMerge, kept: Patient) -> None:
    if side.kept is None:
        moves.point(_table(Shoulder), side.shoulder.id, patient_id=(side.shoulder.patient_id, kept.id))
        for operation in side.moves:
            _move_timepoints(session, moves, operation, kept)
        return
    position = first_free_position(side.kept)
    for operation in side.moves:
        there = {"position": (operation.position, position), "shoulder_id": (side.shoulder.id, side.kept.id)}
        moves.point(_table(Operation), operation.id, **there)
        _move_timepoints(session, moves, operation, kept)
        position += 1
    for operation in side.shoulder.operations:
        if operation.id in side.same:
            _same_operation(session, moves, operation, side.same[operation.id])
    moves.all_of("shoulder", side.shoulder.id, side.kept.id, without=OF_THE_SHOULDER)


def _move_timepoints(session: Session, moves: _Moves, operation: Operation, kept: Patient) -> None:
    rows = select(Timepoint).join(FollowUp).where(FollowUp.operation_id == operation.id)
    for row in session.scalars(rows).all():
        moves.point(_table(Timepoint), row.id, patient_id=(row.patient_id, kept.id))


def _same_operation(session: Session, moves: _Moves, alias: Operation, kept: Operation) -> None:
    """What hangs on the operation of the record that goes hangs on the kept one; components only where that has none."""
    components = {"component"} if _has_components(session, kept) else set()
    moves.all_of("operation", alias.id, kept.id, without=OF_THE_OPERATION | components)
    rows = select(Timepoint).join(FollowUp)
    there = {(row.code, row.attempt): row for row in session.scalars(rows.where(FollowUp.operation_id == kept.id))}
    for row in session.scalars(rows.where(FollowUp.operation_id == alias.id)).all():
        twin = there.get((row.code, row.attempt))
        if twin is not None:
            moves.point(_table(Timepoint), row.id, same_as_id=(row.same_as_id, twin.id))
            moves.all_of("timepoint", row.id, twin.id, without=OF_THE_TIMEPOINT)
            if (
                row.last_try in ENDING and twin.last_try not in ENDING
            ):  # whoever declined is not reminded by the other record
                moves.point(_table(Timepoint), twin.id, last_try=(twin.last_try, row.last_try))


def _has_components(session: Session, operation: Operation) -> bool:
    return any(
        session.scalar(select(table.c.id).where(table.c[column] == operation.id).limit(1)) is not None
        for table, column in _references("operation")
        if table.name == "component"
    )


def _move_responses(session: Session, moves: _Moves, alias: Patient, kept: Patient, keys: Ciphers) -> None:
    """Each under the kept patient's key, at the kept form where both records ask the same. The first of two answers counts."""
    session.expire_all()
    for response in session.scalars(
        select(Response).where(Response.patient_id == alias.id).order_by(Response.id)
    ).all():
        timepoint = session.get(Timepoint, response.timepoint_id) if response.timepoint_id else None
        same_as_id = timepoint.same_as_id if timepoint else None
        if _owner(session, response) == alias.id and same_as_id is None:
            continue  # its form stays with the record that goes
        _reseal(response, alias, kept, keys)
        moves.point(_table(Response), response.id, patient_id=(alias.id, kept.id))
        if timepoint is None or same_as_id is None:
            continue
        taken = session.scalars(
            select(Response.id).where(Response.timepoint_id == same_as_id, Response.counted)
        ).first()
        if response.counted and taken is not None:
            moves.point(_table(Response), response.id, counted=(True, False))
        moves.point(_table(Response), response.id, timepoint_id=(timepoint.id, same_as_id))
    session.expire_all()


def _owner(session: Session, response: Response) -> int:
    """Whose form it answers, or at whose visit it was taken: whosever shoulder it is."""
    if response.timepoint_id is not None:
        return session.get_one(Timepoint, response.timepoint_id).follow_up.operation.shoulder.patient_id
    finding = session.get_one(ClinicFinding, response.finding_id)
    return session.get_one(Shoulder, finding.shoulder_id).patient_id


def _reseal(response: Response, before: Patient, after: Patient, keys: Ciphers) -> None:
    answers = open_answers(response.answers, keys.patient_cipher(before.handle))
    response.answers = seal_answers(answers, keys.patient_cipher(after.handle))


def undo_merge(session: Session, row: PatientMerge, act: Act, keys: Ciphers) -> None:
    """Two people after all. What was moved goes back, with all that came since for what goes back. Raises Contradiction."""
    kept, alias = session.get_one(Patient, row.kept_id), session.get_one(Patient, row.alias_id)
    refuse_if(row.undone_at is not None, "This was already undone.")
    refuse_if(alias.merged_into_id != kept.id, "The record was merged elsewhere since; undo that first.")
    refuse_if(kept.merged_into_id is not None, "The kept record was merged since; undo that first.")
    tables = Base.metadata.tables
    for name, row_id, columns in reversed(json.loads(row.moved)):
        table = tables[name]
        unchanged = [table.c[column] == after for column, (_before, after) in columns.items()]
        back = {column: before for column, (before, _after) in columns.items()}
        session.execute(update(table).where(table.c.id == row_id, *unchanged).values(back))
    session.expire_all()
    alias.merged_into_id = None
    _give_back(session, row, act)
    session.flush()
    _back_by_link(session, row)
    was_moved = {row_id for name, row_id, _columns in json.loads(row.moved) if name == "response"}
    for each in session.scalars(select(Response).where(Response.patient_id.in_((kept.id, alias.id)))).all():
        _follow_form(session, each, kept, alias, keys, was_moved=was_moved)
    _follow_forms_of(session, kept, alias)
    row.undone_at, row.undone_by_id, row.undone_why = act.now, act.by_id, act.why
    audit(session, "patient:merge_undone", f"patient {kept.id}", now=act.now, by_id=act.by_id, alias=alias.study_number)
    _settle(session, (kept, alias), act)


def _follow_form(
    session: Session, response: Response, kept: Patient, alias: Patient, keys: Ciphers, *, was_moved: set[int]
) -> None:
    """Answers lie under the key of whoever their form belongs to, also those that came while the records were one."""
    owner = _owner(session, response)
    if response.id in was_moved and response.patient_id == alias.id:
        _reseal(response, kept, alias, keys)
    elif response.patient_id == kept.id and owner == alias.id:
        _reseal(response, kept, alias, keys)
        response.patient_id = alias.id


def _back_by_link(session: Session, row: PatientMerge) -> None:
    """What came since by the link of the other record is that person's answer: it goes to their own form of the same operation."""
    own_form = {
        columns["same_as_id"][1]: row_id
        for name, row_id, columns in json.loads(row.moved)
        if name == "timepoint" and "same_as_id" in columns
    }
    sent = (
        select(Response)
        .join(Envelope, Envelope.id == Response.envelope_id)
        .join(Link, Link.lookup_hash == Envelope.lookup_hash)
        .where(
            Link.patient_id == row.alias_id, Response.timepoint_id.in_(own_form), Response.recorded_at >= row.merged_at
        )
    )
    for response in session.scalars(sent.order_by(Response.id)).all():
        shared_id = response.timepoint_id or 0
        own_id = own_form[shared_id]
        taken = select(Response.id).where(Response.timepoint_id == own_id, Response.counted)
        response.counted = response.set_aside_at is None and session.scalars(taken).first() is None
        response.timepoint_id = own_id
        flags = update(Flag).where(Flag.response_id == response.id)
        session.execute(flags.values(timepoint_id=own_id, patient_id=row.alias_id))
        session.flush()
        _count_first(session, shared_id)


def _count_first(session: Session, timepoint_id: int) -> None:
    """Of the answers that stay at a form the first one counts, if none does."""
    there = select(Response).where(Response.timepoint_id == timepoint_id, Response.set_aside_at.is_(None))
    left = session.scalars(there.order_by(Response.id)).all()
    if left and not any(each.counted for each in left):
        left[0].counted = True
        session.flush()


def _follow_forms_of(session: Session, kept: Patient, alias: Patient) -> None:
    """Flags and tries about forms that were made while the records were one go back with these forms."""
    of_alias = select(Timepoint.id).join(FollowUp).join(Operation).join(Shoulder).where(Shoulder.patient_id == alias.id)
    for model in (Flag, ContactAttempt):
        theirs = update(model).where(model.patient_id == kept.id, model.timepoint_id.in_(of_alias))
        session.execute(theirs.values(patient_id=alias.id).execution_options(synchronize_session=False))


def _give_back(session: Session, row: PatientMerge, act: Act) -> None:
    """What the merge made stricter in the kept record, where nobody has changed it since."""
    made = select(FieldChange).where(FieldChange.at == row.merged_at, FieldChange.new.is_not(None))
    kept = session.get_one(Patient, row.kept_id)
    consents = {each.id: each for each in kept.consents}
    for change in session.scalars(made.order_by(FieldChange.id.desc())).all():
        target: Base | None = kept if (change.table_name, change.row_id) == ("patient", kept.id) else None
        if change.table_name == "consent":
            target = consents.get(change.row_id)
        if target is not None and written(getattr(target, change.field)) == change.new:
            is_day = change.old is not None and change.field.endswith("_on")
            old = date.fromisoformat(change.old or "") if is_day else change.old
            change_row(session, target, {change.field: old}, now=act.now, by_id=act.by_id, why=act.why)


def _settle(session: Session, patients: tuple[Patient, ...], act: Act) -> None:
    session.flush()
    session.expire_all()
    for patient in patients:
        restate(session, patient, now=act.now, today=act.today, by_id=act.by_id)


def _table(model: type[Base]) -> Table:
    return Base.metadata.tables[model.__tablename__]
