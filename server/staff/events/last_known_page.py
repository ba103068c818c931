"""When a patient was last reached, last known alive, and what is known of each implant; and whether they are lost."""

from dataclasses import dataclass

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic import contact
from server.clinic.lost import KIND, confirm_lost, undo_lost
from server.fields.check import EntryRefused
from server.fields.field import Errors
from server.fields.known_status import ALIVE, IMPLANT, STATUS_SOURCES
from server.models import Flag, KnownStatus, Patient
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.edit_form import row_to_change
from server.staff.page.last_known_words import told
from server.staff.page.record_form import reason
from server.staff.page.request_context import request_context, signed_in
from server.words import labels


@dataclass(frozen=True)
class Told:
    """One source in words."""

    id: int
    day: str
    said: str
    taken_back: bool


def last_known_page(patient_id: int) -> Response:
    return _render(patient_id, {})


def lost_post(patient_id: int) -> AnyResponse:
    """Confirms that a patient is lost to questionnaires, or undoes it; either with a reason."""
    act = request.form.get("act", "")
    if act not in ("confirm", "undo"):
        abort(400)
    now, by_id = request_context().now, signed_in().id
    try:
        with writing() as session:
            patient = row_to_change(session, Patient, patient_id)
            if patient is None or patient.merged_into_id is not None:
                abort(404)
            why = reason(request.form)
            if act == "undo":
                undo_lost(session, patient, why=why, now=now, by_id=by_id)
            else:
                confirm_lost(session, patient, why=why, now=now, today=request_context().today, by_id=by_id)
                for flag in _proposals(session, patient_id):
                    contact.settle_flag(session, flag, why, now=now, by_id=by_id)
    except EntryRefused as problem:
        return _render(patient_id, problem.errors, 422)
    done = "lost-confirmed" if act == "confirm" else "lost-undone"
    return redirect(url_for("staff.last_known", patient_id=patient_id, done=done))


def _render(patient_id: int, errors: Errors, status: int = 200) -> Response:
    with reading() as session:
        patient = session.get(Patient, patient_id)
        if patient is None or patient.merged_into_id is not None:
            abort(404)
        rows = session.scalars(
            select(KnownStatus)
            .where(KnownStatus.patient_id == patient_id)
            .order_by(KnownStatus.known_on.desc(), KnownStatus.id.desc())
        )
        html = render_template(
            "staff/events/last_known.html",
            patient=patient,
            known=told(session, patient, request_context().today),
            sources=[_told(row) for row in rows],
            proposed=_proposals(session, patient_id),
            errors=errors,
        )
    return make_response(html, status)


def _proposals(session: Session, patient_id: int) -> list[Flag]:
    waiting = select(Flag).where(Flag.patient_id == patient_id, Flag.kind == KIND, Flag.settled_at.is_(None))
    return list(session.scalars(waiting))


def _told(row: KnownStatus) -> Told:
    says = []
    if row.alive is not None:
        says.append(words.say(ALIVE[row.alive]))
    if row.implant is not None:
        shoulder = words.say(labels.SHOULDER[row.side]) if row.side else ""
        says.append(f"{shoulder.lower()} {words.say(IMPLANT[row.implant])}")
    source = words.say(STATUS_SOURCES[row.source])
    source = f"{source} ({row.source_text})" if row.source_text else source
    said = f"{words.sentence(source)}: {', '.join(says)}."
    return Told(row.id, words.day(row.known_on), said, row.taken_back_at is not None)
