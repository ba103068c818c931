"""Two people after all: what a merge pointed to the kept record points back, with what came since for what goes back.

| what came while they were one | goes |
|---|---|
| for its operations: answers, tries, visits, events, what sources say of them, what was done next | back with them (merge_added.py) |
| an answer or a notice by the other record's link | back; an answer to its own form of the same operation |
| of the person: a death, a withdrawal, lost capacity, a withdrawn consent | where a person says (merge_since.py) |
| anything else: contact details, numbers, calls, what is of an operation that both have | stays with the kept record |
"""

import json
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from server.clinic.contradiction import refuse_if
from server.clinic.history import change_row
from server.clinic.merge import reseal, settle
from server.clinic.merge_added import added_since, bring_back
from server.clinic.merge_since import COLUMNS, entered_since, made_by_merge, settle_since, value_of
from server.clinic.misplaced import Act, Ciphers
from server.clinic.reported_events import move_with, shoulder_of
from server.clinic.withdrawal import ENDED_BY
from server.fields.stored import written
from server.models import (
    Base,
    Component,
    Consent,
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
from server.trust.audit import audit

Move = tuple[
    str, int, dict[str, tuple[Any, Any]]
]  # table, row, and of each column what stood there and what the merge wrote
CHANGED: Mapping[str, type[Any]] = {
    model.__tablename__: model for model in (Patient, Consent, Shoulder, Operation, Component)
}


def undo_merge(
    session: Session, row: PatientMerge, act: Act, keys: Ciphers, whose: Mapping[str, str] = MappingProxyType({})
) -> None:
    """`whose`: of each fact that was entered of the person since, by merge_since.WHOSE. To be called after `lock_records`.

    Raises Contradiction.
    """
    kept, alias = session.get_one(Patient, row.kept_id), session.get_one(Patient, row.alias_id)
    moves: list[Move] = json.loads(row.moved)
    _refuse(session, row, kept, alias, moves)
    facts, counted = entered_since(session, row), _counted_at_shared_forms(session, moves)
    added = added_since(session, row, _homes(moves), [id_ for id_, _columns in _of(moves, "shoulder")])
    _point_back(session, moves)
    bring_back(session, added, alias.id)
    alias.merged_into_id = None
    settle_since(session, facts, kept, alias, whose, act)
    _give_back(session, row, kept, {each.fact for each in facts if whose.get(each.fact) != "other"}, act)
    session.flush()
    _by_link_back(session, row, moves, act)
    _count_again(session, moves, counted)
    was_moved = {id_ for id_, _columns in _of(moves, "response")}
    for each in session.scalars(select(Response).where(Response.patient_id.in_((kept.id, alias.id)))).all():
        _follow_form(session, each, kept, alias, keys, was_moved=was_moved)
    _follow_forms_of(session, kept, alias)
    row.undone_at, row.undone_by_id, row.undone_why = act.now, act.by_id, act.why
    said = {f"whose_{each.fact}": whose.get(each.fact, "both") for each in facts}
    named = {"alias": alias.study_number, **said}
    audit(session, "patient:merge_undone", f"patient {kept.id}", now=act.now, by_id=act.by_id, **named)
    settle(session, (kept, alias), act)


def _refuse(session: Session, row: PatientMerge, kept: Patient, alias: Patient, moves: list[Move]) -> None:
    refuse_if(row.undone_at is not None, "This was already undone.")
    refuse_if(alias.merged_into_id != kept.id, "The record was merged elsewhere since; undo that first.")
    refuse_if(kept.merged_into_id is not None, "The kept record was merged since; undo that first.")
    later = PatientMerge.kept_id == kept.id, PatientMerge.id > row.id, PatientMerge.undone_at.is_(None)
    refuse_if(
        session.scalars(select(PatientMerge.id).where(*later)).first() is not None,
        "Another record was merged into this one since; undo that first.",
    )
    refuse_if(
        kept.erased_at is not None or alias.erased_at is not None,
        "The answers were erased since, and nobody can tell any more which were whose.",
    )
    there = {id_: place for id_, (place, _home) in _homes(moves).items()}
    whole = {id_ for id_, _columns in _of(moves, "shoulder")}
    theirs = [id_ for id_, columns in _of(moves, "timepoint") if "patient_id" in columns]
    now = session.execute(
        select(Operation.id, Operation.shoulder_id).join(FollowUp).join(Timepoint).where(Timepoint.id.in_(theirs))
    )
    places = {
        **{row.id: row.shoulder_id for row in now},
        **{id_: session.get_one(Operation, id_).shoulder_id for id_ in there},
    }
    refuse_if(
        any(
            place != there.get(id_, place) or (id_ not in there and place not in whole) for id_, place in places.items()
        ),
        f"The side of an operation of {alias.study_number} was corrected since. Correct it back first, then undo this.",
    )


def _of(moves: list[Move], table: str) -> list[tuple[int, dict[str, tuple[Any, Any]]]]:
    return [(row_id, columns) for name, row_id, columns in moves if name == table]


def _homes(moves: list[Move]) -> dict[int, tuple[int, int]]:
    """Of each single operation that was moved, the shoulder where the merge put it and the one from which it came."""
    moved = [(id_, columns["shoulder_id"]) for id_, columns in _of(moves, "operation") if "shoulder_id" in columns]
    return {id_: (there, home) for id_, (home, there) in moved}


def _point_back(session: Session, moves: list[Move]) -> None:
    """Where nobody has pointed it elsewhere since. Which of several answers counts is decided when all are back."""
    for name, row_id, columns in reversed(moves):
        if "counted" in columns:
            continue
        table = Base.metadata.tables[name]
        unchanged = [table.c[column] == after for column, (_before, after) in columns.items() if column != "position"]
        back = {column: before for column, (before, _after) in columns.items()}
        session.execute(update(table).where(table.c.id == row_id, *unchanged).values(back))
    session.expire_all()


def _shared_forms(session: Session, moves: list[Move]) -> dict[int, int]:
    """Forms of operations that both records have, also those that came since: of each the other record's own one."""
    pairs = [(id_, columns["same_as_id"][1]) for id_, columns in _of(moves, "timepoint") if "same_as_id" in columns]
    rows = [(session.get(Timepoint, own), session.get(Timepoint, shared)) for own, shared in pairs]
    # A form may be gone by now, withdrawn since its plan has it no more.
    follow_ups = {shared.follow_up_id: own.follow_up_id for own, shared in rows if own and shared}
    wanted = select(Timepoint).where(Timepoint.follow_up_id.in_({*follow_ups, *follow_ups.values()}))
    by_code = {(each.follow_up_id, each.code, each.attempt): each.id for each in session.scalars(wanted)}
    found = {id_: by_code.get((follow_ups.get(of, 0), code, attempt)) for (of, code, attempt), id_ in by_code.items()}
    return {shared: own for shared, own in found.items() if own is not None}


def _counted_at_shared_forms(session: Session, moves: list[Move]) -> dict[int, int]:
    """Of each form that both records shared the answer that counts now."""
    shared = _shared_forms(session, moves)
    counted = select(Response.timepoint_id, Response.id).where(Response.timepoint_id.in_(shared), Response.counted)
    return {row.timepoint_id: row.id for row in session.execute(counted) if row.timepoint_id is not None}


def _by_link_back(session: Session, row: PatientMerge, moves: list[Move], act: Act) -> None:
    """What came since by the link of the other record is that person's: an answer goes to their own form of the same operation."""
    own_form = _shared_forms(session, moves)
    of_link = (
        select(Envelope.id).join(Link, Link.lookup_hash == Envelope.lookup_hash).where(Link.patient_id == row.alias_id)
    )
    sent = select(Response).where(
        Response.envelope_id.in_(of_link), Response.timepoint_id.in_(own_form), Response.recorded_at >= row.merged_at
    )
    for response in session.scalars(sent.order_by(Response.received_at, Response.id)).all():
        own_id = own_form[response.timepoint_id or 0]
        response.counted = response.set_aside_at is None and not _is_counted(session, own_id)
        response.timepoint_id = own_id
        flags = update(Flag).where(Flag.response_id == response.id)
        session.execute(flags.values(timepoint_id=own_id, patient_id=row.alias_id))
        session.flush()
        move_with(session, response, response, why=act.why, now=act.now, by_id=act.by_id)
    said = select(Flag).where(Flag.envelope_id.in_(of_link), Flag.raised_at >= row.merged_at)
    for flag in session.scalars(said).all():
        flag.patient_id, flag.timepoint_id = row.alias_id, own_form.get(flag.timepoint_id or 0, flag.timepoint_id)


def _is_counted(session: Session, timepoint_id: int) -> bool:
    counted = select(Response.id).where(Response.timepoint_id == timepoint_id, Response.counted)
    return session.scalars(counted).first() is not None


def _count_again(session: Session, moves: list[Move], counted: Mapping[int, int]) -> None:
    """Answers that the merge made count no longer count again where they are; and a form that lost its answer has the next one, if any."""
    stopped = [id_ for id_, columns in _of(moves, "response") if "counted" in columns]
    for response in (session.get_one(Response, id_) for id_ in stopped):
        if response.set_aside_at is None and response.timepoint_id and not _is_counted(session, response.timepoint_id):
            response.counted = True
            session.flush()
    for timepoint_id, response_id in counted.items():
        gone = session.get_one(Response, response_id).timepoint_id != timepoint_id
        if gone and not _is_counted(session, timepoint_id):
            there = select(Response).where(Response.timepoint_id == timepoint_id, Response.set_aside_at.is_(None))
            first = session.scalars(there.order_by(Response.received_at, Response.id)).first()
            if first is not None:
                first.counted = True
                session.flush()


def _follow_form(
    session: Session, response: Response, kept: Patient, alias: Patient, keys: Ciphers, *, was_moved: set[int]
) -> None:
    """Answers lie under the key of whoever their form belongs to, also those that came while the records were one."""
    owner = shoulder_of(session, response).patient_id
    if response.id in was_moved and response.patient_id == alias.id:
        reseal(response, kept, alias, keys)
    elif response.patient_id == kept.id and owner == alias.id:
        reseal(response, kept, alias, keys)
        response.patient_id = alias.id


def _follow_forms_of(session: Session, kept: Patient, alias: Patient) -> None:
    """Flags and tries about forms that were made while the records were one go back with these forms."""
    of_alias = select(Timepoint.id).join(FollowUp).join(Operation).join(Shoulder).where(Shoulder.patient_id == alias.id)
    for model in (Flag, ContactAttempt):
        theirs = update(model).where(model.patient_id == kept.id, model.timepoint_id.in_(of_alias))
        session.execute(theirs.values(patient_id=alias.id).execution_options(synchronize_session=False))


def _give_back(session: Session, row: PatientMerge, kept: Patient, stays: set[str], act: Act) -> None:
    """What the merge filled or made stricter in the kept record, where nobody has changed it since.

    `stays`: facts that were entered of the kept person since; what they rest on stays with them.
    """
    columns = {name for fact in stays for name in COLUMNS.get(fact, ())}
    kinds = ENDED_BY[kept.withdrawal_extent] if "withdrew" in stays and kept.withdrawal_extent else ()
    made = select(FieldChange).where(FieldChange.at == row.merged_at, FieldChange.table_name.in_(CHANGED))
    for change in session.scalars(made.order_by(FieldChange.id.desc())).all():
        if not made_by_merge(change, row) or change.new is None:
            continue
        target = session.get_one(CHANGED[change.table_name], change.row_id)
        if target is kept and change.field in columns:
            continue
        if isinstance(target, Consent) and target.kind in kinds:
            continue
        if written(getattr(target, change.field)) == change.new:
            old = value_of(change.field, change.old)
            change_row(session, target, {change.field: old}, now=act.now, by_id=act.by_id, why=act.why)
