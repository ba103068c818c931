"""What was entered in error: an operation, or the whole record. Marked with a reason, and brought back by the same page."""

from collections.abc import Callable

from flask import abort, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.entered_in_error import (
    bring_back_enrolment,
    bring_back_operation,
    take_back_enrolment,
    take_back_operation,
)
from server.fields.operation_words import OPERATION_KINDS
from server.links.make import follow_end
from server.models import Operation, Patient
from server.staff.mending.acts import Shown, act, mend, show
from server.staff.page import words
from server.staff.page.edit_form import row_to_change
from server.staff.page.request_context import request_context, signed_in


def in_error_page(patient_id: int) -> str:
    return show(patient_id, _page)


def enrolment_in_error(patient_id: int) -> AnyResponse:
    """Marks the whole record as entered in error, or lifts the mark."""

    def change(session: Session, patient: Patient) -> None:
        (take_back_enrolment if _takes() else bring_back_enrolment)(session, patient, act("record"))
        follow_end(session, patient, now=request_context().now, by_id=signed_in().id)

    return _mended(patient_id, change, "record")


def operation_in_error(patient_id: int, operation_id: int) -> AnyResponse:
    """Marks an operation as entered in error, or lifts the mark."""
    form = f"operation-{operation_id}"

    def change(session: Session, patient: Patient) -> None:
        operation = row_to_change(session, Operation, operation_id)
        if operation is None or operation.shoulder.patient_id != patient.id:
            abort(404)
        (take_back_operation if _takes() else bring_back_operation)(session, operation, act(form))

    return _mended(patient_id, change, form)


def _mended(patient_id: int, change: Callable[[Session, Patient], None], form: str) -> AnyResponse:
    done = "taken-back" if _takes() else "brought-back"
    to = url_for("staff.in_error", patient_id=patient_id, done=done)
    return mend(patient_id, change, page=_page, done=done, form=form, to=to)


def _takes() -> bool:
    wanted = request.form.get("act", "")
    if wanted not in ("take", "bring"):
        abort(400)
    return wanted == "take"


def _page(_session: Session, patient: Patient, shown: Shown) -> str:
    return render_template(
        "staff/mending/in_error.html",
        patient=patient,
        shoulders=patient.shoulders,
        kinds=OPERATION_KINDS,
        shown=shown,
        moment=lambda at: words.moment(at, request_context().time_zone),
    )
