"""An operation on the wrong shoulder: what moves, what becomes of each answer, and the ground on which it may stay."""

from flask import abort, render_template, request
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.contradiction import Contradiction
from server.clinic.side import OTHER, answers_of, correct_side, what_moves
from server.fields.change import CONFIRMED_HOW
from server.fields.operation_words import OPERATION_KINDS
from server.models import Operation, Patient
from server.staff.mending.acts import Page, Shown, act, is_ticked, mend, show
from server.staff.mending.grounds import ground_of
from server.staff.page import words
from server.staff.page.edit_form import row_to_change
from server.staff.page.request_context import request_context


def side_page(patient_id: int, operation_id: int) -> str:
    return show(patient_id, _page_of(operation_id))


def save_side(patient_id: int, operation_id: int) -> AnyResponse:
    """Moves the operation to the other shoulder. Each answer stays only on a ground; the others are set aside."""

    def change(session: Session, patient: Patient) -> None:
        operation = row_to_change(session, Operation, operation_id)
        if operation is None or operation.shoulder.patient_id != patient.id:
            abort(404)
        if request.form.get("was") != operation.shoulder.side:
            raise Contradiction(words.gettext("Somebody else has corrected the side meanwhile. Look at it again."))
        kept = [each.response.id for each in answers_of(session, operation) if is_ticked(f"answer-{each.response.id}")]
        ground = ground_of(request.form) if kept else None
        correct_side(session, operation, {each: ground for each in kept if ground}, act())

    return mend(patient_id, change, page=_page_of(operation_id), done="mended")


def _page_of(operation_id: int) -> Page:
    def page(session: Session, patient: Patient, shown: Shown) -> str:
        operation = session.get(Operation, operation_id)
        if operation is None or operation.shoulder.patient_id != patient.id:
            abort(404)
        return render_template(
            "staff/mending/side.html",
            patient=patient,
            operation=operation,
            side=operation.shoulder.side,
            true_side=OTHER[operation.shoulder.side],
            moving=what_moves(operation),
            answers=answers_of(session, operation),
            kinds=OPERATION_KINDS,
            how=CONFIRMED_HOW,
            shown=shown,
            moment=lambda at: words.moment(at, request_context().time_zone),
        )

    return page
