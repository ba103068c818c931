"""Tries to reach a patient that were written down in error, and messages that came back undelivered."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime

from flask import abort, render_template, url_for
from sqlalchemy import func, select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.contact_mended import CAN_COME_BACK, bring_back_attempt, message_returned, take_back_attempt
from server.clinic.history import Change, note_change, read_changes
from server.fields.check import EntryRefused
from server.models import ContactAttempt, FieldChange, FollowUp, Message, Operation, Patient, Shoulder, Timepoint
from server.reminders.by_hand import NotSent, send_again
from server.staff.mending.acts import Shown, mend, show, the_reason
from server.staff.page import words
from server.staff.page.edit_form import row_to_change
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.staff_names import staff_names
from server.worklist.words import TRIED, title

SHOWN = 80
SENT_AGAIN = "resent"  # as the history tells it, beside the other outcomes


@dataclass(frozen=True)
class Written:
    """One message: about which form, by which channel, when it went or was to go, and what became of it; None while it waits."""

    id: int
    at: str
    channel: str
    about: str
    outcome: str | None


def contacts_page(patient_id: int) -> str:
    return show(patient_id, _page)


def take_back_try(patient_id: int, attempt_id: int) -> AnyResponse:
    """It was another patient, or did not happen; the reason stays, and what followed from it is set anew."""
    return _mend_try(patient_id, attempt_id, take_back_attempt)


def bring_back_try(patient_id: int, attempt_id: int) -> AnyResponse:
    """It was no error after all."""
    return _mend_try(patient_id, attempt_id, bring_back_attempt)


def _mend_try(patient_id: int, attempt_id: int, act: Callable[..., None]) -> AnyResponse:
    form = f"attempt-{attempt_id}"

    def change(session: Session, patient: Patient) -> None:
        attempt = row_to_change(session, ContactAttempt, attempt_id)
        if attempt is None or attempt.patient_id != patient.id:
            abort(404)
        act(session, attempt, why=the_reason(form), **_now())

    return mend(patient_id, change, page=_page, done="mended", form=form, to=_here(patient_id))


def came_back(patient_id: int, message_id: int) -> AnyResponse:
    """A message that was sent and came back asked nobody."""
    form = f"message-{message_id}"

    def change(session: Session, patient: Patient) -> None:
        message = _message(session, patient, message_id)
        message_returned(session, message, patient, why=the_reason(form), **_now())  # type: ignore[arg-type]

    return mend(patient_id, change, page=_page, done="mended", form=form, to=_here(patient_id))


def send_message_again(patient_id: int, message_id: int) -> AnyResponse:
    """One that came back goes once more, such as once the address was corrected."""
    form = f"message-{message_id}"

    def change(session: Session, patient: Patient) -> None:
        message, why = _message(session, patient, message_id), the_reason(form)
        sent_at = message.done_at
        try:
            send_again(session, runtime().library, message, **_now())  # type: ignore[arg-type]
        except NotSent as problem:
            raise EntryRefused({"on": [words.say(problem.said)]}) from problem
        moment = {"now": request_context().now, "by_id": signed_in().id}
        note_change(session, message, "done_at", sent_at, None, why=why, **moment)  # type: ignore[arg-type]
        note_change(session, message, "outcome", "returned", SENT_AGAIN, why=why, **moment)  # type: ignore[arg-type]

    return mend(patient_id, change, page=_page, done="message-sent", form=form, to=_here(patient_id, "message-sent"))


def _message(session: Session, patient: Patient, message_id: int) -> Message:
    message = row_to_change(session, Message, message_id)
    if message is None or session.get_one(Timepoint, message.timepoint_id).patient_id != patient.id:
        abort(404)
    return message


def _now() -> dict[str, object]:
    return {"now": request_context().now, "today": request_context().today, "by_id": signed_in().id}


def _here(patient_id: int, done: str = "mended") -> str:
    return url_for("staff.contacts", patient_id=patient_id, done=done)


def _page(session: Session, patient: Patient, shown: Shown) -> str:
    tries = select(ContactAttempt).where(ContactAttempt.patient_id == patient.id).order_by(ContactAttempt.id.desc())
    attempts, written = list(session.scalars(tries.limit(SHOWN))), _written(session, patient)
    rows = [("contact_attempt", each.id) for each in attempts] + [("message", each.id) for each in written]
    return render_template(
        "staff/mending/contacts.html",
        patient=patient,
        shown=shown,
        attempts=attempts,
        written=written,
        tried=TRIED,
        history=[_readable(each) for each in read_changes(session, rows, most=SHOWN)] if rows else [],
        staff=staff_names(session),
        moment=_moment,
    )


def _written(session: Session, patient: Patient) -> list[Written]:
    """What was sent, what waits, and what was ever put right, since its history is told here alone; the newest first."""
    mended = select(FieldChange.row_id).where(FieldChange.table_name == "message")
    shown = Message.outcome.in_(("sent", "returned")) | Message.done_at.is_(None) | Message.id.in_(mended)
    at = func.coalesce(Message.done_at, Message.made_at)
    query = (
        select(Message, Timepoint.code, Shoulder.side)
        .join(Timepoint, Timepoint.id == Message.timepoint_id)
        .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        .join(Operation, Operation.id == FollowUp.operation_id)
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .where(Timepoint.patient_id == patient.id, shown)
        .where(Message.channel.in_(CAN_COME_BACK))
        .order_by(at.desc(), Message.id.desc())
    )
    return [
        Written(
            message.id,
            _moment(message.done_at or message.made_at),
            words.say(words.CHANNEL.get(message.channel, message.channel)),
            words.say(title(side, code)),
            message.outcome,
        )
        for message, code, side in session.execute(query.limit(SHOWN))
    ]


def _readable(change: Change) -> Change:
    """A moment as the page tells moments, not as it is kept."""
    if change.field not in ("done_at", "taken_back_at"):
        return change
    old, new = (_moment(datetime.fromisoformat(str(kept))) if kept else "" for kept in (change.old, change.new))
    return replace(change, old=old, new=new)


def _moment(at: object) -> str:
    return words.moment(at, request_context().time_zone)  # type: ignore[arg-type]
