"""An operation is completed or corrected, at any time and in every field; a planned one is done."""

from collections.abc import Mapping
from typing import Any

from flask import Response, abort, redirect, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.components import in_the_shoulder
from server.clinic.entries import EntryRefused
from server.clinic.operation_entry import ToBeChecked, correct_operation
from server.fields.component import COMPONENT
from server.fields.field import Errors
from server.fields.operation import OPERATION, SHOULDER
from server.fields.operation_words import KINDS
from server.fields.read_form import read_form
from server.fields.stored import in_form
from server.links.publish import publish_sheet
from server.models import Component, Operation
from server.staff.operations.component_rows import (
    NEW_ROWS,
    new_rows,
    read_components,
    rows_of,
    shown_of,
    unread_codes,
    with_codes_read,
)
from server.staff.operations.new_operation import desk_of, patient_of
from server.staff.operations.operation_form import CANCELLED, Shown, asked_of, sent, show
from server.staff.page.database import reading, writing
from server.staff.page.edit_form import ChangedMeanwhile, OthersChange, as_sent, chosen, row_to_change
from server.staff.page.request_context import request_context, runtime
from server.staff.page.unusable_plans import no_new_follow_up
from server.timepoints.plans import PlanUnusable, read_plans

ONLY_SHOWN_AGAIN = ("add_row", "codes", "show")


def edit_operation(patient_id: int, operation_id: int) -> Response:
    """The form with what is recorded. `done=yes`: it was planned and is done now."""
    with reading() as session:
        operation = _found(session, patient_id, operation_id)
        values = _kept(session, operation)
        if request.args.get("done") == "yes" and operation.surgery_on is None:
            planned = operation.surgery_planned_on
            came = planned is not None and planned <= request_context().today
            values |= {"done": "yes", "surgery_on": planned.isoformat() if planned and came else ""}
        empty = "0" if _own(operation) or (operation.surgery_on is None and values.get("done") != "yes") else "1"
        return show(_page(session, operation, {**values, NEW_ROWS: empty}))


def edit_operation_post(patient_id: int, operation_id: int) -> AnyResponse:
    """Saves what was changed, or shows the form again with the reason why nothing was saved."""
    typed = sent()
    more: dict[str, Any] = {}
    if typed.get("act") in ONLY_SHOWN_AGAIN:
        return _shown_again(patient_id, operation_id, typed)
    try:
        with writing() as session:
            patient_of(session, patient_id)
            if _found(session, patient_id, operation_id).id and row_to_change(session, Operation, operation_id) is None:
                abort(404)
            if not _save(session, session.get_one(Operation, operation_id), typed):
                more = {"codes_read": True}
    except ChangedMeanwhile as problem:
        typed, more = dict(problem.values), {"meanwhile": problem.changes}
    except EntryRefused as problem:
        typed, more = chosen(typed), {"errors": problem.errors}
    except PlanUnusable as problem:
        typed, more = chosen(typed), {"errors": {"kind": [no_new_follow_up(problem)]}}
    except ToBeChecked as asked:
        typed, more = chosen(typed), {"doubts": asked.doubts}
    if not more:
        return redirect(url_for("staff.patient", patient_id=patient_id, done="operation-saved", _anchor="operations"))
    with reading() as session:
        operation = _found(session, patient_id, operation_id)
        if more.get("codes_read"):
            typed, _errors = with_codes_read(typed, rows_of(_own(operation), typed))
        return show(_page(session, operation, typed, **more), 422)


def _shown_again(patient_id: int, operation_id: int, typed: dict[str, str]) -> Response:
    """A row more, codes read, or the fields of another kind. Nothing is saved."""
    errors: Errors = {}
    with reading() as session:
        operation = _found(session, patient_id, operation_id)
        if typed["act"] == "add_row":
            typed = {**typed, NEW_ROWS: str(new_rows(typed) + 1)}
        if typed["act"] == "codes":
            typed, errors = with_codes_read(typed, rows_of(_own(operation), typed))
        read = typed["act"] == "codes" and not errors
        return show(_page(session, operation, typed, errors=errors, codes_read=read), 422 if errors else 200)


def _save(session: Session, operation: Operation, sent_form: dict[str, str]) -> bool:
    """False when a scanned code was read for the first time: then the person looks before it is saved."""
    typed = _nobody_changed(session, operation, sent_form)
    own = _own(operation)
    if unread_codes(typed, rows_of(own, typed)):
        return False
    kind, done = _kind_of(operation, typed), _is_done(operation, typed)
    asked = [row for row in asked_of(kind, done=done, operation=operation) if row.name in typed]
    values, unreadable = read_form(asked, typed)
    components, errors = read_components(typed, own, [*_there(session, operation), *operation.taken_out])
    if unreadable or errors:
        raise EntryRefused({**unreadable, **errors})
    plan = read_plans(session).named(request_context().default_plan)
    correct_operation(session, operation, values, components, plan, desk_of(typed))
    session.flush()
    patient = patient_of(session, operation.shoulder.patient_id)
    publish_sheet(session, patient, library=runtime().library, now=request_context().now, today=request_context().today)
    return True


def _nobody_changed(session: Session, operation: Operation, typed: Mapping[str, str]) -> dict[str, str]:
    """What was sent, unless somebody else changed the operation or one of its components meanwhile. Raises ChangedMeanwhile."""
    form, changes = dict(typed), list[OthersChange]()
    parts: list[tuple[Any, tuple[Any, ...], str, dict[str, str]]] = [
        (operation, (*OPERATION, *SHOULDER), "", _of_operation(operation)),
        *((each, COMPONENT, f"c{each.id}-", shown_of(each)) for each in _own(operation)),
        *((each, (), "", {name: kept}) for each, name, kept in _ticks(session, operation)),
    ]
    for row, fields, prefix, kept in parts:
        try:
            rows = [row, operation.shoulder] if row is operation else [row]
            form = as_sent(session, form, kept, fields, rows, prefix=prefix)
        except ChangedMeanwhile as problem:
            form, changes = dict(problem.values), [*changes, *problem.changes]
    if changes:
        raise ChangedMeanwhile(form, changes)
    return form


def _found(session: Session, patient_id: int, operation_id: int) -> Operation:
    operation = session.get(Operation, operation_id)
    if operation is None or operation.taken_back_at or operation.shoulder.patient_id != patient_id:
        abort(404)
    return operation


def _own(operation: Operation) -> list[Component]:
    return [each for each in operation.put_in if each.struck_at is None]


def _there(session: Session, operation: Operation) -> list[Component]:
    """What other operations put into this shoulder and nothing took out."""
    return [each for each in in_the_shoulder(session, operation.shoulder) if each.put_in_id != operation.id]


def _of_operation(operation: Operation) -> dict[str, str]:
    fields = [*(row for row in OPERATION if row.asked), *(CANCELLED if operation.cancelled_on is not None else ())]
    return {**in_form(fields, operation), **in_form(SHOULDER, operation.shoulder)}


def _ticks(session: Session, operation: Operation) -> list[tuple[Component, str, str]]:
    there = [(each, f"out-{each.id}", "") for each in _there(session, operation)]
    return [*((each, f"out-{each.id}", "yes") for each in operation.taken_out if each.struck_at is None), *there]


def _kept(session: Session, operation: Operation) -> dict[str, str]:
    """What the inputs show of the operation as it is kept."""
    shown = _of_operation(operation)
    for each in _own(operation):
        shown |= shown_of(each)
    return {**shown, **{name: kept for _each, name, kept in _ticks(session, operation)}}


def _kind_of(operation: Operation, typed: Mapping[str, str]) -> str:
    return typed["kind"] if typed.get("kind") in KINDS else operation.kind


def _is_done(operation: Operation, typed: Mapping[str, str]) -> bool:
    return operation.surgery_on is not None or typed.get("done") == "yes" or bool(typed.get("surgery_on", "").strip())


def _page(session: Session, operation: Operation, typed: dict[str, str], **more: Any) -> Shown:
    shoulder = operation.shoulder
    return Shown(
        patient=patient_of(session, shoulder.patient_id),
        side=shoulder.side,
        kind=_kind_of(operation, typed),
        done=_is_done(operation, typed),
        operation=operation,
        values=typed,
        own=_own(operation),
        there=[*(each for each in operation.taken_out if each.struck_at is None), *_there(session, operation)],
        kept=_kept(session, operation),
        **more,
    )
