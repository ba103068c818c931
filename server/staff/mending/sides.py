"""An operation on the wrong shoulder: what moves, what becomes of each answer, and the ground on which it may stay."""

from flask import abort, render_template, request
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.contradiction import Contradiction
from server.clinic.side import OTHER, Beside, answers_coming_back, answers_of, beside, correct_side, what_moves
from server.fields.change import CONFIRMED, CONFIRMED_HOW
from server.fields.check import EntryRefused
from server.fields.known_status import STATUS_SOURCES
from server.fields.operation_words import OPERATION_KINDS
from server.models import ClinicEvent, ClinicFinding, Operation, Patient
from server.staff.mending.acts import Page, Shown, act, is_ticked, mend, show
from server.staff.mending.grounds import ground_of
from server.staff.page import words
from server.staff.page.edit_form import row_to_change
from server.staff.page.request_context import request_context
from server.staff.page.what_happened import title_of


def side_page(patient_id: int, operation_id: int) -> str:
    return show(patient_id, _page_of(operation_id))


def save_side(patient_id: int, operation_id: int) -> AnyResponse:
    """Moves the operation to the other shoulder. Each answer stays only on a ground; the others are set aside."""

    def change(session: Session, patient: Patient) -> None:
        operation = row_to_change(session, Operation, operation_id)
        if operation is None or operation.taken_back_at or operation.shoulder.patient_id != patient.id:
            abort(404)
        if request.form.get("was") != operation.shoulder.side:
            raise Contradiction(words.gettext("Somebody else has corrected the side meanwhile. Look at it again."))
        kept = [each.response.id for each in answers_of(session, operation) if is_ticked(f"answer-{each.response.id}")]
        if not kept and any(request.form.get(each.name, "").strip() for each in CONFIRMED):
            nothing = words.gettext("Tick the answers that this confirms, or leave who, when and how empty.")
            raise EntryRefused({"confirmed_by": [nothing]})
        ground = ground_of(request.form) if kept else None
        along = [each.name for each in beside(session, operation) if is_ticked(each.name)]
        correct_side(session, operation, {each: ground for each in kept if ground}, act(), along)

    return mend(patient_id, change, page=_page_of(operation_id), done="mended")


def _page_of(operation_id: int) -> Page:
    def page(session: Session, patient: Patient, shown: Shown) -> str:
        operation = session.get(Operation, operation_id)
        if operation is None or operation.taken_back_at or operation.shoulder.patient_id != patient.id:
            abort(404)
        return render_template(
            "staff/mending/side.html",
            patient=patient,
            operation=operation,
            side=operation.shoulder.side,
            true_side=OTHER[operation.shoulder.side],
            moving=what_moves(operation),
            answers=answers_of(session, operation),
            back=answers_coming_back(session, operation),
            beside=[(each.name, _told(each), _ticked(each, shown)) for each in beside(session, operation)],
            kinds=OPERATION_KINDS,
            how=CONFIRMED_HOW,
            shown=shown,
            moment=lambda at: words.moment(at, request_context().time_zone),
        )

    return page


def _told(each: Beside) -> str:
    """One line for each thing that is recorded of the shoulder beside its operations."""
    row = each.row
    if isinstance(row, ClinicEvent):
        return f"{title_of(row)}, {words.exact_day(row.happened_on, row.happened_precision)}"
    if isinstance(row, ClinicFinding):
        return words.gettext("Visit of %(day)s") % {"day": words.day(row.examined_on)}
    said = {"source": words.sentence(STATUS_SOURCES[row.source]), "day": words.day(row.known_on)}
    return words.gettext("%(source)s, of %(day)s") % said


def _ticked(each: Beside, shown: Shown) -> bool:
    """What followed moves unless somebody took the tick away; what was sent stays as it was sent."""
    return bool(shown.values.get(each.name)) if shown.values else each.follows
