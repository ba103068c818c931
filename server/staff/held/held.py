"""Held envelopes: stored, not yet usable, a person must look. Of what lies inside only the kind of a notice is shown."""

import json
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from flask import abort, redirect, render_template, request, url_for
from sqlalchemy import case, func, select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.left_open import may_contact
from server.intake.hold import NotHeld, alike, release, release_alike, settle, settle_alike
from server.jobs.intake import process_received
from server.models import Envelope, Link, Patient
from server.queries.pause import PAUSING
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.paging import At, offset_in
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.unusable_plans import unusable_in_use
from server.texts.decision import what_waits
from server.words.phrase import Phrase, phrase

PAGE = 30
WHY = {
    "unknown_key": (
        phrase("It was sealed for a key that this clinic never had."),
        phrase("Ask the patient which clinic the link came from. If it is another one's, settle it."),
    ),
    "needs_key": (
        phrase("A key that is needed to read it is not in the key folder: retired and offline, or missing."),
        phrase("The data manager brings it back from its backup; then try again."),
    ),
    "not_opened": (
        phrase("It does not open: cut off or altered on the way."),
        phrase("Ask the patient to answer again; then settle it."),
    ),
    "wrong_answer_key": (
        phrase("It was sealed with another link or another birth date than this patient's."),
        phrase("Check the birth date on the patient's page. After a correction, try again."),
    ),
    "not_json": (
        phrase("It opened, but what lies inside is not a form."),
        phrase("Ask the patient to answer again with an up-to-date browser; then settle it."),
    ),
    "unknown_form": (
        phrase("It answers a form that does not belong to this link."),
        phrase("See whether the plan changed, or whether two records are one person; otherwise settle it."),
    ),
    "answers_not_valid": (
        phrase("At least one answer is none that the form offers."),
        phrase("Ask the patient to answer again; then settle it."),
    ),
    "plan_unusable": (
        phrase("What its form asked is not known: the plan of its follow-up cannot be used now."),
        phrase(
            "Tell the data manager, who brings the plan back from a backup of the database; then try again. Nothing is lost."
        ),
    ),
    "text_not_sent": (
        phrase("It says that it was asked in words, or in a language, that this clinic did not send."),
        phrase(
            "If the clinic gave up a language lately, add it again and try again. Otherwise ask the patient anew; then settle it."
        ),
    ),
    "replaced_link": (
        phrase("It came by a link that had been replaced before: whoever has the old link may have sent it."),
        phrase("Ask the patient whether they answered on the old link. If they did, accept it; otherwise settle it."),
    ),
    "same_id_other_content": (
        phrase("Two envelopes came under one number with different content."),
        phrase("The first one was taken. Ask the patient which is right. Trying again takes this one as a repeat."),
    ),
    "erased": (
        phrase("This patient asked to be erased before it came, and that was done."),
        phrase("It cannot be kept readable any more; settle it."),
    ),
    "fault": (
        phrase("The server met an error of its own while reading it."),
        phrase("Try again. If it stays, tell the data manager."),
    ),
}
# What asks the patient, and what is done instead where that may not be.
ASKS = (
    "unknown_key",
    "not_opened",
    "not_json",
    "answers_not_valid",
    "text_not_sent",
    "replaced_link",
    "same_id_other_content",
)
UNASKED = phrase(
    "Nobody asks the patient any more, so settle it as what cannot be used, unless it is clear without asking."
)
# The same for the data manager, who opens no patient's page and brings keys and plans back.
DO_FOR_MANAGER = {
    "needs_key": phrase("Bring the key back from its backup; then try again."),
    "wrong_answer_key": phrase(
        "A nurse or a surgeon checks the birth date of this study number. After a correction, try again."
    ),
    "plan_unusable": phrase("Bring the plan back from a backup of the database; then try again. Nothing is lost."),
    "fault": phrase("Try again. If it stays, look into the server's log."),
}
SETTLED_AS = {
    "answered_again": phrase("the patient answered again"),
    "patient_asked": phrase("the patient was asked, and it is clear now"),
    "other_clinic": phrase("it belongs to another clinic"),
    "repeat": phrase("it repeats what is recorded"),
    "not_the_patient": phrase("the patient did not send it"),
    "not_to_be_had": phrase("it cannot be used, and the patient cannot be asked"),
}


@dataclass(frozen=True)
class Shown:
    """`alike`: how many are held for the same reason by the same link, this one among them; `last_id` is that of the newest."""

    envelope: Envelope
    patient: Patient | None
    why: Phrase
    do: Phrase
    alike: int
    last_id: int


def held() -> str:
    """The page of held envelopes, in groups of one link, one reason and what is said there: what pauses messages first, then the oldest."""
    offset = offset_in(request.args.get("from", ""))
    groups = select(func.min(Envelope.id)).where(Envelope.state == "held")
    groups = groups.group_by(Envelope.lookup_hash, Envelope.held_reason, Envelope.held_notice)
    rank = case({kind: place for place, kind in enumerate(PAUSING)}, value=Envelope.held_notice, else_=len(PAUSING))
    with reading() as session:
        envelopes = session.scalar(select(func.count(Envelope.id)).where(Envelope.state == "held")) or 0
        total = session.scalar(select(func.count()).select_from(groups.subquery())) or 0
        found = session.scalars(groups.order_by(func.min(rank), func.min(Envelope.id)).offset(offset).limit(PAGE)).all()
        shown = [_shown(session, session.get_one(Envelope, envelope_id)) for envelope_id in found]
        waiting = what_waits(session, runtime().library, request_context().today)
        return render_template(
            "staff/held/held.html",
            shown=shown,
            envelopes=envelopes,
            at=At(offset, PAGE, total),
            ago=_ago,
            pausing=PAUSING,
            waiting=waiting,
            unusable=unusable_in_use(session),
        )


def held_one(envelope_id: int) -> str:
    with reading() as session:
        shown = _shown(session, _envelope(session, envelope_id))
        return render_template(
            "staff/held/held_one.html",
            shown=shown,
            details=_details(shown.envelope.held_detail),
            settled_as=SETTLED_AS,
            pausing=PAUSING,
            moment=lambda at: words.moment(at, request_context().time_zone),
        )


def try_held_again(envelope_id: int) -> AnyResponse:
    """Puts it back into the queue and lets intake take it at once; the page says what came of it. Many are left to the next pass."""
    last_id = _all_up_to()
    if last_id is not None:
        with suppress(NotHeld), writing() as session:
            row, by_id = _envelope(session, envelope_id), signed_in().id
            release_alike(session, row, up_to=last_id, now=request_context().now, by_id=by_id)
        return redirect(url_for("staff.held", done="held-queued"))
    with suppress(NotHeld), writing() as session:
        release(session, _envelope(session, envelope_id), now=request_context().now, by_id=signed_in().id)
    process_received(runtime())
    with reading() as session:
        still = _envelope(session, envelope_id).state == "held"
    if still:
        return redirect(url_for("staff.held_one", envelope_id=envelope_id, done="held-still"))
    return redirect(url_for("staff.held", done="held-recorded"))


def settle_held(envelope_id: int) -> AnyResponse:
    """Settles one, or it and all alike that the page counted. 409 when somebody else was faster."""
    settled_as = request.form.get("settled_as", "")
    if settled_as not in SETTLED_AS:
        abort(400)
    last_id, now, by_id = _all_up_to(), request_context().now, signed_in().id
    try:
        with writing() as session:
            row = _envelope(session, envelope_id)
            if last_id is None:
                settle(session, row, settled_as, now=now, by_id=by_id)
            else:
                settle_alike(session, row, settled_as, up_to=last_id, now=now, by_id=by_id)
    except NotHeld:
        abort(409)
    return redirect(url_for("staff.held", done="held-settled"))


def _all_up_to() -> int | None:
    """With the button for all alike, the newest of them that the page counted; None with the button for one."""
    last_id = request.form.get("all", "")
    if last_id and not (last_id.isascii() and last_id.isdigit() and len(last_id) < 19):
        abort(400)
    return int(last_id) if last_id else None


def _envelope(session: Session, envelope_id: int) -> Envelope:
    envelope = session.get(Envelope, envelope_id)
    if envelope is None or envelope.state not in ("held", "settled", "received", "recorded"):
        abort(404)
    return envelope


def _shown(session: Session, envelope: Envelope) -> Shown:
    link = session.scalar(select(Link).where(Link.lookup_hash == envelope.lookup_hash))
    patient = session.get(Patient, link.patient_id) if link else None
    why, do = WHY.get(
        envelope.held_reason or "",
        (phrase("The reason was not noted."), phrase("Try again; if it stays, tell the data manager.")),
    )
    if signed_in().role == "data_manager":
        do = DO_FOR_MANAGER.get(envelope.held_reason or "", do)
    asked = patient is None or (may_contact(patient) and patient.died_on is None)
    if not asked and envelope.held_reason in ASKS:
        do = UNASKED
    counted = select(func.count(Envelope.id), func.max(Envelope.id)).where(alike(envelope))
    number, last_id = session.execute(counted).one()
    return Shown(envelope, patient, why, do, number, last_id or envelope.id)


def _details(text: str | None) -> list[tuple[str, str]]:
    """Where intake found fault, as (place, what); never what was typed."""
    try:
        found: Any = json.loads(text or "{}")
    except ValueError:
        return [(words.gettext("note"), text or "")]
    return (
        [(str(place), "; ".join(map(str, faults))) for place, faults in found.items()]
        if isinstance(found, dict)
        else []
    )


def _ago(envelope: Envelope) -> str:
    return words.ago(envelope.received_at, request_context().now)
