"""One flag: what a patient answered that a person should look at, and settling it with a note. It decides nothing."""

from collections.abc import Sequence

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.models import Flag, Patient, Timepoint
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, runtime, signed_in
from server.trust.audit import audit
from server.worklist.words import topic

NOTE_LONGEST = 1000


def flag_page(flag_id: int) -> str:
    with reading() as session:
        return _render(session, flag_id, {}, {})


def settle_flag(flag_id: int) -> Response | AnyResponse:
    note = request.form.get("note", "").strip()
    problem = "Write what you found or did; the next person relies on it." if not note else ""
    if len(note) > NOTE_LONGEST:
        problem = f"This is longer than {NOTE_LONGEST} characters; shorten it."
    if problem:
        with reading() as session:
            return make_response(_render(session, flag_id, request.form, {"note": [problem]}), 422)
    with writing() as session:
        flag = _flag(session, flag_id)
        if flag.settled_at is not None:
            abort(409)
        for each in _together(session, flag):
            each.settled_at, each.settled_by_id, each.settled_note = request_context().now, signed_in().id, note
            audit(
                session,
                "flag:settled",
                f"flag {each.id}",
                now=request_context().now,
                by_id=signed_in().id,
                kind=each.kind,
            )
        patient_id = flag.patient_id
    return redirect(url_for("staff.patient", patient_id=patient_id, done="flag-settled"))


def _render(session: Session, flag_id: int, values: object, errors: dict[str, list[str]]) -> str:
    flag = _flag(session, flag_id)
    together = _together(session, flag) if flag.settled_at is None else [flag]
    timepoint = session.get(Timepoint, flag.timepoint_id) if flag.timepoint_id else None
    return render_template(
        "staff/patient/flag.html",
        flag=flag,
        patient=session.get_one(Patient, flag.patient_id),
        timepoint=timepoint,
        side=timepoint.follow_up.operation.shoulder.side if timepoint else None,
        lines=[(_topic(each.item), each.detail) for each in together],
        values=values,
        errors=errors,
        moment=lambda at: words.moment(at, request_context().time_zone),
    )


def _flag(session: Session, flag_id: int) -> Flag:
    flag = session.get(Flag, flag_id)
    if flag is None:
        abort(404)
    return flag


def _together(session: Session, flag: Flag) -> Sequence[Flag]:
    """The open flags of one kind that one response raised: the list shows them as one thing to do."""
    if flag.response_id is None:
        return [flag]
    same = select(Flag).where(Flag.response_id == flag.response_id, Flag.kind == flag.kind, Flag.settled_at.is_(None))
    return session.scalars(same.order_by(Flag.id)).all()


def _topic(item: str | None) -> str:
    return topic(item, runtime().library) if item else ""
