"""The Constant form of a visit: the patient's part and the measured part, in one form where they lie within 30 days."""

from collections.abc import Mapping
from datetime import date

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from scoring.answers import AnswerProblem
from scoring.definition import Definition
from server.clinic.history import change_row
from server.clinic.left_open import outside_what_was_left_open
from server.clinic.lost import undo_by_answers
from server.clinic.misplaced import Act, set_aside
from server.crypto.fields import FieldProblem
from server.fields.check import EntryRefused
from server.fields.field import Errors
from server.fields.finding import LEVELS
from server.fields.read_form import one_line
from server.forms.stored import StoredAnswersProblem
from server.intake.at_visit import EXAMINER, WITHIN, Taken, enter_at_visit, taken_before
from server.models import ClinicFinding, Patient, Shoulder
from server.models import Response as Answered
from server.staff.page import words
from server.staff.page.answer_inputs import asked_items, sent_numbers
from server.staff.page.database import reading, writing
from server.staff.page.edit_form import row_to_change
from server.staff.page.record_form import reason
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.visit_forms import CONSTANT, visit_forms
from server.trust.keys import KeyMissing

GRAMS = {"n": 1000 / 9.80665, "kg": 1000.0, "lb": 453.59237}


def constant_page(patient_id: int, row_id: int) -> Response:
    with reading() as session:
        finding, _patient, _side = _visit(session, patient_id, row_id)
        offered = {"told_on": finding.examined_on.isoformat(), **_measured(finding)}
    return _render(patient_id, row_id, offered, {})


def constant_post(patient_id: int, row_id: int) -> AnyResponse:
    """Enters the form, or shows it again with all that was typed. An earlier one of this visit is kept and counts no longer."""
    definition = runtime().library.instrument(CONSTANT)
    try:
        with writing() as session:
            finding, patient, _side = _visit(session, patient_id, row_id, to_change=True)
            told_on = _told_on(request.form)
            latest = max(told_on, finding.examined_on)
            refused = dict(outside_what_was_left_open(patient, {"told_on": told_on}, "told_on", latest))
            if refused:
                raise EntryRefused({name: [sentence] for name, sentence in refused.items()})
            values = sent_numbers(definition.items, request.form)
            if not values:
                raise EntryRefused({"item-1": [words.gettext("Nothing is filled in yet.")]})
            why = reason(request.form) if _counted(session, finding) else ""
            taken = Taken(CONSTANT, values, told_on, words.spoken().language, signed_in().id)
            _enter(session, finding, taken, why)
            undo_by_answers(session, now=request_context().now)
    except EntryRefused as problem:
        return _render(patient_id, row_id, request.form, problem.errors, 422)
    except AnswerProblem as problem:
        return _render(patient_id, row_id, request.form, {"item-1": [str(problem)]}, 422)
    return redirect(url_for("staff.finding", patient_id=patient_id, row_id=row_id, done="constant-entered"))


def put_together_anew(session: Session, finding: ClinicFinding, why: str) -> None:
    """The day of the visit was corrected: whether its two parts make one form, with a total, is decided by the new day."""
    try:
        taken = taken_before(session, finding, runtime().keys, signed_in().id)
    except (KeyMissing, FieldProblem, StoredAnswersProblem):
        sentence = words.gettext("The Constant form of this visit cannot be read, so its day stays as it is.")
        raise EntryRefused({"examined_on": [sentence]}) from None
    if taken is not None:
        _enter(session, finding, taken, why)


def _enter(session: Session, finding: ClinicFinding, taken: Taken, why: str) -> None:
    """What was entered before is kept and counts no longer."""
    now, machine = request_context().now, runtime()
    for earlier in _counted(session, finding):
        change_row(session, earlier, {"counted": False}, now=now, by_id=signed_in().id, why=why)
    enter_at_visit(session, finding, taken, library=machine.library, keys=machine.keys, now=now)


def constant_in_error(patient_id: int, row_id: int) -> AnyResponse:
    """The form of this visit was entered in error: it is set aside, and can be taken back on the page of its answers."""
    try:
        with writing() as session:
            finding, _patient, _side = _visit(session, patient_id, row_id, to_change=True)
            why = reason(request.form, "why_back")
            act = Act(why, request_context().now, request_context().today, signed_in().id)
            for each in _counted(session, finding):
                set_aside(session, each, "not_usable", act)
    except EntryRefused as problem:
        return _render(patient_id, row_id, {}, problem.errors, 422)
    return redirect(url_for("staff.finding", patient_id=patient_id, row_id=row_id, done="taken-back"))


def _told_on(form: Mapping[str, str]) -> date:
    """The day of the patient's part. Raises EntryRefused for none, or one to come."""
    text = one_line(form.get("told_on", ""))
    try:
        on = date.fromisoformat(text)
    except ValueError:
        raise EntryRefused({"told_on": [words.gettext("Enter the day, like 2024-03-28.")]}) from None
    if on > request_context().today:
        raise EntryRefused({"told_on": [words.gettext("This day is to come.")]})
    return on


def _measured(finding: ClinicFinding) -> dict[str, str]:
    """What the visit says already: motion where it was measured up to where pain begins, strength where it was measured at 90°."""
    found: dict[str, int] = {}
    if finding.pain_free:
        for item, degrees in (("6", finding.flexion_degrees), ("7", finding.abduction_degrees)):
            if degrees is not None and 0 <= degrees <= 180:
                found[item] = degrees
    if finding.cannot_reach_90:
        found["14"] = 0
    elif (
        finding.strength is not None and finding.strength_unit and finding.strength_position == "abduction_90_scapular"
    ):
        found["14"] = round(finding.strength * GRAMS[finding.strength_unit])
    return {f"item-{item}": str(value) for item, value in found.items()}


def _visit(
    session: Session, patient_id: int, row_id: int, *, to_change: bool = False
) -> tuple[ClinicFinding, Patient, str]:
    finding = row_to_change(session, ClinicFinding, row_id) if to_change else session.get(ClinicFinding, row_id)
    shoulder = session.get(Shoulder, finding.shoulder_id) if finding else None
    if finding is None or shoulder is None or shoulder.patient_id != patient_id or finding.taken_back_at is not None:
        abort(404)
    return finding, session.get_one(Patient, patient_id), shoulder.side


def _counted(session: Session, finding: ClinicFinding) -> list[Answered]:
    return list(session.scalars(select(Answered).where(Answered.finding_id == finding.id, Answered.counted)))


def _render(patient_id: int, row_id: int, values: Mapping[str, str], errors: Errors, status: int = 200) -> Response:
    library = runtime().library
    definition: Definition = library.instrument(CONSTANT)
    texts = library.texts(CONSTANT)
    text = texts.get(words.spoken().language) or texts["en"]
    with reading() as session:
        finding, patient, side = _visit(session, patient_id, row_id)
        parts = {
            found_by: [item for item in definition.items if (item.found_by == EXAMINER) == found_by]
            for found_by in (False, True)
        }
        told, measured = (asked_items(text, side, parts[found_by]) for found_by in (False, True))
        html = render_template(
            "staff/events/constant.html",
            patient=patient,
            finding=finding,
            side=side,
            told=told,
            level=LEVELS[finding.internal_rotation] if finding.internal_rotation else "",
            measured=measured,
            definition=definition,
            entered=visit_forms(session, finding),
            values=values,
            errors=errors,
            days=WITHIN.days,
            field_labels={each.name: each.label for each in (*told, *measured)}
            | {"told_on": words.gettext("Answered on")},
        )
    return make_response(html, status)
