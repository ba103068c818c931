"""A new operation: which shoulder and which kind first, then the one form of all kinds."""

from dataclasses import replace

from flask import Response, abort, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.components import in_the_shoulder
from server.clinic.entries import EntryRefused, ShoulderEntry
from server.clinic.events import recorded_as
from server.clinic.log import LONGEST_ID
from server.clinic.operation_entry import Desk, ToBeChecked, enter_operation
from server.fields.change import WHY
from server.fields.check import Calendar, check_values
from server.fields.field import Errors
from server.fields.operation_words import KINDS, OPERATION_KINDS, SIDES
from server.fields.read_form import read_form
from server.links.make import live_link
from server.links.publish import publish_sheet
from server.models import ClinicEvent, Component, Patient, Shoulder
from server.queries.facts import left_on
from server.staff.operations.component_rows import (
    NEW_ROWS,
    new_rows,
    read_components,
    rows_of,
    unread_codes,
    with_codes_read,
)
from server.staff.operations.operation_form import Shown, asked_of, kinds_for, sent, show
from server.staff.operations.reported import said_in
from server.staff.page import words
from server.staff.page.asked_about import has_checked
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.unusable_plans import no_new_follow_up
from server.timepoints.plans import PlanUnusable, read_plans

# What a reported operation knows already, and which event it is.
FROM_AN_EVENT = ("surgery_on", "place", "known_by", "certainty", "event")


def new_operation(patient_id: int) -> Response | str:
    """The form once shoulder and kind are chosen; before that the choice."""
    with reading() as session:
        patient = patient_of(session, patient_id)
        side, kind = request.args.get("side", ""), request.args.get("kind", "")
        carried = {name: request.args[name] for name in (*FROM_AN_EVENT, "flag") if name in request.args}
        if side not in SIDES or kind not in KINDS:
            return _choose(patient, carried)
        known = {name: carried[name] for name in FROM_AN_EVENT if name in carried}
        if "flag" in carried:
            known |= said_in(session, patient, carried["flag"])
        done = "yes" if request.args.get("done") == "yes" else ""
        page = _page(session, patient, side, kind, {NEW_ROWS: "1", "done": done, **known})
        return show(replace(page, carried=carried))


def new_operation_post(patient_id: int) -> AnyResponse:
    """Keeps the operation and its components, or shows the form again with all that was typed."""
    typed = sent()
    side, kind = typed.get("side", ""), typed.get("kind", "")
    if side not in SIDES or kind not in KINDS:
        abort(400)
    errors: Errors = {}
    doubts: list[str] = []
    rows, act = rows_of([], typed), typed.get("act", "")
    if act == "add_row":
        return _again(patient_id, side, kind, {**typed, NEW_ROWS: str(new_rows(typed) + 1)})
    if act == "codes" or unread_codes(typed, rows):
        filled, errors = with_codes_read(typed, rows)
        return _again(patient_id, side, kind, filled, errors=errors, codes_read=not errors)
    try:
        with writing() as session:
            _keep(session, patient_of(session, patient_id), side, kind, typed)
    except EntryRefused as problem:
        errors = problem.errors
    except PlanUnusable as problem:
        errors = {"kind": [no_new_follow_up(problem)]}
    except ToBeChecked as asked:
        doubts = asked.doubts
    if errors or doubts:
        return _again(patient_id, side, kind, typed, errors=errors, doubts=doubts)
    return redirect(url_for("staff.patient", patient_id=patient_id, done="operation-added", _anchor="operations"))


def patient_of(session: Session, patient_id: int) -> Patient:
    """404 for one who is not there, or whose record was merged into another."""
    patient = session.get(Patient, patient_id)
    if patient is None or patient.merged_into_id is not None:
        abort(404)
    return patient


def desk_of(typed: dict[str, str]) -> tuple[Desk, Errors]:
    """Who sends the form, and why; and what is wrong with the reason. Whether it was checked depends on what is asked about."""
    values, unreadable = read_form((WHY,), typed)
    wrong = {**check_values((WHY,), values, Calendar(request_context().today)), **unreadable}
    why = values["why"]
    desk = Desk(
        now=request_context().now,
        today=request_context().today,
        by_id=signed_in().id,
        why=str(why) if why else None,
    )
    return desk, wrong


def _keep(session: Session, patient: Patient, side: str, kind: str, typed: dict[str, str]) -> None:
    done = typed.get("done") == "yes"
    values, unreadable = read_form(asked_of(kind, done=done, operation=None), typed)
    components, more = read_components(typed, [], _there(session, patient, side))
    desk, wrong = desk_of(typed)
    if done and values["surgery_on"] is None:
        unreadable.setdefault(
            "surgery_on", [words.gettext("Enter the day on which it was done; a month or a year is enough.")]
        )
    plan = read_plans(session).named(request_context().default_plan)
    entry = ShoulderEntry(side, **{**values, "kind": kind})
    unread = {**unreadable, **more, **wrong}
    try:
        operation = enter_operation(session, patient, entry, components, plan, desk, unread)
    except ToBeChecked as asked:
        if not has_checked(asked.doubts, typed):
            raise
        sure = replace(desk, checked=True)
        operation = enter_operation(session, patient, entry, components, plan, sure, unread)
    event = _event_named(session, typed.get("event", ""))
    if event is not None:
        recorded_as(session, event, operation, now=request_context().now, by_id=signed_in().id)
    if left_on(patient) is None:
        live_link(session, patient, now=request_context().now)
    session.flush()
    publish_sheet(session, patient, library=runtime().library, now=request_context().now, today=request_context().today)


def _event_named(session: Session, typed: str) -> ClinicEvent | None:
    """The event with this id; None for anything that is no id, or no event's."""
    return session.get(ClinicEvent, int(typed)) if typed.isdecimal() and len(typed) <= LONGEST_ID else None


def _shoulder(patient: Patient, side: str) -> Shoulder | None:
    return next((each for each in patient.shoulders if each.side == side), None)


def _there(session: Session, patient: Patient, side: str) -> list[Component]:
    shoulder = _shoulder(patient, side)
    return in_the_shoulder(session, shoulder) if shoulder else []


def _page(session: Session, patient: Patient, side: str, kind: str, typed: dict[str, str]) -> Shown:
    done = typed.get("done") == "yes"
    return Shown(patient, side, kind, done, None, typed, there=_there(session, patient, side))


def _again(
    patient_id: int,
    side: str,
    kind: str,
    typed: dict[str, str],
    *,
    errors: Errors | None = None,
    doubts: list[str] | None = None,
    codes_read: bool = False,
) -> Response:
    with reading() as session:
        patient = patient_of(session, patient_id)
        page = Shown(
            patient, side, kind, typed.get("done") == "yes", None, typed, there=_there(session, patient, side),
            errors=errors or {}, doubts=doubts or [], codes_read=codes_read,
        )  # fmt: skip
        return show(page, 422 if errors or doubts else 200)


def _choose(patient: Patient, carried: dict[str, str]) -> str:
    """`carried`: what is known already, which the links hand on to the form."""
    sides = {side: _shoulder(patient, side) for side in SIDES}
    kinds = {side: kinds_for(shoulder.operations if shoulder else []) for side, shoulder in sides.items()}
    return render_template(
        "staff/operations/choose.html", patient=patient, kinds=kinds, every_kind=OPERATION_KINDS, carried=carried
    )
