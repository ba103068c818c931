"""Sending the next message by hand: what would go is shown first, then it is put into the outbox, from where it goes as any other."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from sqlalchemy import func, select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.jobs.clock import channels_of
from server.links.make import find_live_link, link_url
from server.models import Message, Patient, Timepoint
from server.reminders.by_hand import REFUSALS, NotSent, next_message, preview, send_now
from server.reminders.channels.contract import Notice, Preview, TransportProblem
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.telephone import dialled
from server.staff.page.today_place import TodayPlace, place_in, timepoint_key, today_address
from server.words.phrase import Phrase
from server.worklist.words import title


@dataclass(frozen=True)
class _Asked:
    """What the page shows. Either `notice` and `step`, or `refused`, which says why nothing can be sent."""

    patient: Patient
    title: str
    side: str
    has_link: bool
    last_sent_at: datetime | None
    notice: Notice | None = None
    step: str = ""
    channel: str = ""
    refused: Phrase | None = None


def send_now_page(timepoint_id: int) -> str:
    """To whom, by which way, and word for word what would go; or why nothing can. Changes nothing."""
    return _render(timepoint_id, place_in(request.args))


def send_now_post(timepoint_id: int) -> Response | AnyResponse:
    """Sends the step that was shown. Sent twice it goes once."""
    place, step = place_in(request.form), request.form.get("step", "")
    try:
        with writing() as session:
            timepoint = _timepoint(session, timepoint_id)
            patient_id = timepoint.patient_id
            send_now(session, runtime().library, timepoint, step, **_now(), by_id=signed_in().id)
    except NotSent as problem:
        return make_response(_render(timepoint_id, place, problem.said), 422)
    if place is None:
        return redirect(url_for("staff.patient", patient_id=patient_id, done="message-sent"))
    return redirect(place.address("message-sent", patient_id))


def _render(timepoint_id: int, place: TodayPlace | None, refused: Phrase | None = None) -> str:
    with reading() as session:
        asked = _ask(session, _timepoint(session, timepoint_id), refused)
        shown, said = None, asked.refused
        if asked.notice is not None:
            shown, said = _shown(asked.notice, asked.channel)
        return render_template(
            "staff/today/send_now.html",
            asked=asked,
            shown=shown,
            refused=words.say(said) if said else "",
            dial=dialled(asked.patient.phone or ""),
            timepoint_id=timepoint_id,
            hidden=place.fields() if place else {},
            write_down=_write_down(place, timepoint_id, asked.patient.id),
            back=place.address() if place else url_for("staff.patient", patient_id=asked.patient.id),
            moment=lambda at: words.moment(at, request_context().time_zone),
        )


def _write_down(place: TodayPlace | None, timepoint_id: int, patient_id: int) -> str:
    """Where a try to reach the patient is written down: in the row of Today that led here, or on the patient's page."""
    if place is None:
        return url_for("staff.patient", patient_id=patient_id, _anchor="form-attempts")
    return today_address(place.kind, place.offset, open=timepoint_key(timepoint_id))


def _ask(session: Session, timepoint: Timepoint, refused: Phrase | None) -> _Asked:
    patient = session.get_one(Patient, timepoint.patient_id)
    link, side = find_live_link(session, patient), timepoint.follow_up.operation.shoulder.side
    sent = select(func.max(Message.done_at)).where(Message.timepoint_id == timepoint.id, Message.outcome == "sent")
    known = (patient, words.say(title(side, timepoint.code)), side, link is not None, session.scalar(sent))
    try:
        found = next_message(session, runtime().library, timepoint, today=request_context().today)
    except NotSent as problem:
        return _Asked(*known, refused=refused or problem.said)
    # Without a live link one is made when the message goes.
    url = link_url(request_context().base_url, link.token if link and link.token else "…")
    notice = preview(session, timepoint, found, url, **_now())
    return _Asked(*known, notice, found.step.step, found.channel, refused)


def _shown(notice: Notice, channel: str) -> tuple[Preview | None, Phrase | None]:
    """The message as its channel would carry it, or why it could not."""
    try:
        return channels_of(runtime())[channel].preview(notice), None
    except TransportProblem:
        return None, REFUSALS["no_address"]


def _timepoint(session: Session, timepoint_id: int) -> Timepoint:
    timepoint = session.get(Timepoint, timepoint_id)
    if timepoint is None or session.get_one(Patient, timepoint.patient_id).merged_into_id is not None:
        abort(404)
    return timepoint


def _now() -> dict[str, Any]:
    return {"now": request_context().now, "today": request_context().today}
