"""What was entered in error: an operation, or the whole record. Marked with a reason, and brought back by the same page."""

from collections.abc import Callable, Mapping

from flask import abort, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.entered_in_error import (
    bring_back_enrolment,
    bring_back_operation,
    take_back_enrolment,
    take_back_operation,
)
from server.clinic.history import read_changes
from server.fields.operation_words import OPERATION_KINDS
from server.links.make import follow_end
from server.models import Operation, Patient
from server.staff.mending.acts import Shown, act, mend, show
from server.staff.page import words
from server.staff.page.edit_form import row_to_change
from server.staff.page.request_context import request_context, signed_in
from server.words import labels
from server.words.phrase import phrase

RECORD = "record"  # the form of the whole record; each operation has its own
MOST_CHANGES = 500
# What was done, as the address says it after the act, in a sentence that names what it was done to.
DONE = {
    "taken-back": phrase(
        "%(what)s: marked as entered in error, and counts nowhere. Your reason stands beside it below, and in the history of the patient."
    ),
    "brought-back": phrase("%(what)s: counts again. Your reason stands in the history of the patient."),
}


def in_error_page(patient_id: int) -> str:
    return show(patient_id, _page)


def enrolment_in_error(patient_id: int) -> AnyResponse:
    """Marks the whole record as entered in error, or lifts the mark."""

    def change(session: Session, patient: Patient) -> None:
        (take_back_enrolment if _takes() else bring_back_enrolment)(session, patient, act(RECORD))
        follow_end(session, patient, now=request_context().now, by_id=signed_in().id)

    return _mended(patient_id, change, RECORD)


def operation_in_error(patient_id: int, operation_id: int) -> AnyResponse:
    """Marks an operation as entered in error, or lifts the mark."""
    form = _form_of(operation_id)

    def change(session: Session, patient: Patient) -> None:
        operation = row_to_change(session, Operation, operation_id)
        if operation is None or operation.shoulder.patient_id != patient.id:
            abort(404)
        (take_back_operation if _takes() else bring_back_operation)(session, operation, act(form))

    return _mended(patient_id, change, form)


def _mended(patient_id: int, change: Callable[[Session, Patient], None], form: str) -> AnyResponse:
    done = "taken-back" if _takes() else "brought-back"
    to = url_for("staff.in_error", patient_id=patient_id, done=done, of=form)
    return mend(patient_id, change, page=_page, done=done, form=form, to=to)


def _takes() -> bool:
    wanted = request.form.get("act", "")
    if wanted not in ("take", "bring"):
        abort(400)
    return wanted == "take"


def _form_of(operation_id: int) -> str:
    return f"operation-{operation_id}"


def _page(session: Session, patient: Patient, shown: Shown) -> str:
    named = {RECORD: words.gettext("The whole record")}
    for shoulder in patient.shoulders:
        named |= {_form_of(each.id): _name(shoulder.side, each) for each in shoulder.every_operation}
    return render_template(
        "staff/mending/in_error.html",
        patient=patient,
        shoulders=patient.shoulders,
        kinds=OPERATION_KINDS,
        shown=shown,
        told=_told(named),
        reasons=_reasons(session, patient),
        form_of=_form_of,
        moment=lambda at: words.moment(at, request_context().time_zone),
    )


def _told(named: Mapping[str, str]) -> str:
    """What was just done, by the address."""
    done, of = request.args.get("done", ""), request.args.get("of", "")
    return words.say(DONE[done]) % {"what": named[of]} if done in DONE and of in named else ""


def _name(side: str, operation: Operation) -> str:
    """ "Left shoulder, first operation of 3 May 2024" """
    named = {"shoulder": words.say(labels.SHOULDER[side]), "kind": words.say(OPERATION_KINDS[operation.kind])}
    if operation.surgery_on is None:
        return words.gettext("%(shoulder)s, %(kind)s") % named
    day = words.exact_day(operation.surgery_on, operation.surgery_precision)
    return words.gettext("%(shoulder)s, %(kind)s of %(day)s") % {**named, "day": day}


def _reasons(session: Session, patient: Patient) -> Mapping[str, str]:
    """By form, why what is in error was marked."""
    rows = {("patient", patient.id): RECORD}
    for shoulder in patient.shoulders:
        rows |= {("operation", each.id): _form_of(each.id) for each in shoulder.every_operation}
    changes = read_changes(session, list(rows), most=MOST_CHANGES)
    marks = [each for each in changes if each.field == "taken_back_at"]
    return {rows[each.row]: each.why for each in reversed(marks)}
