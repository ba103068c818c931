"""Seals what a patient has due for the patient's live link. The phone-facing part keeps it and cannot read it."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from scoring.library import Library
from scoring.strict_json import load_strict_json
from server.crypto import derive
from server.crypto.encoding import b64u, compact_json
from server.crypto.sheet import SealedSheet, SheetProblem, open_sheet, seal_sheet
from server.crypto.token import read_token
from server.fields.by_language import in_language
from server.forms.asked import asked_parts
from server.links.make import find_live_link
from server.models import Clinic, Envelope, Gate, Link, Operation, Patient, Shoulder, Timepoint
from server.models.follow_up import FollowUp
from server.queries.clock import the_clinic
from server.queries.current import STANDS, aliases_of, is_offered, kept_record, sealing_key_in_use
from server.queries.facts import status_of
from server.queries.texts_in_force import read_wording
from server.schedule.status import WAITING
from server.timepoints.plans import Plans, PlanUnusable, read_plans


class NoSealingKey(RuntimeError):
    """The clinic has no live sealing key: set-up is not finished."""


def publish_sheet(session: Session, patient: Patient, *, library: Library, now: datetime, today: date) -> bool:
    """Brings the sheet of the patient's live link up to date, and of those of merged duplicates. True when one changed.

    The revision grows only then.
    """
    kept = kept_record(session, patient)
    records = [kept, *aliases_of(session, kept)]
    changed = [_publish_to(session, kept, record, library=library, now=now, today=today) for record in records]
    return any(changed)


def _publish_to(
    session: Session, patient: Patient, record: Patient, *, library: Library, now: datetime, today: date
) -> bool:
    """What the patient has due, sealed for the live link that was given to one record, under that record's birth date."""
    link = find_live_link(session, record)
    if link is None or link.token is None:
        return False
    link.sheet_stale = False
    token, born = read_token(link.token), record.birth_on
    gate = session.get_one(Gate, link.lookup_hash)
    content = _content(session, patient, link, library, today)
    key, lookup = derive.due_key(token, born), derive.lookup(token)
    state = "due" if content["forms"] else "nothing_due"
    if gate.state == state and _published(gate, key, lookup) == content:
        return False
    written = {
        "format": 1,
        "revision": gate.revision + 1,
        "made_at": now.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        **content,
    }
    sealed = seal_sheet(key, lookup, gate.revision + 1, compact_json(written))
    gate.state, gate.revision, gate.nonce, gate.ciphertext = state, sealed.revision, sealed.nonce, sealed.ciphertext
    session.flush()
    return True


def _published(gate: Gate, key: bytes, lookup: bytes) -> dict[str, Any] | None:
    if gate.nonce is None or gate.ciphertext is None:
        return None
    try:
        plain = open_sheet(key, lookup, SealedSheet(gate.revision, gate.nonce, gate.ciphertext))
    except SheetProblem:
        return None  # sealed before a corrected birth date
    return {
        name: value for name, value in load_strict_json(plain).items() if name not in ("format", "revision", "made_at")
    }


def _content(session: Session, patient: Patient, link: Link, library: Library, today: date) -> dict[str, Any]:
    """What waits and may be asked; a form stays out of the sheet when its plan is unusable or a text of it may not be sent."""
    wording, plans = read_wording(session, library), read_plans(session)
    found = [_form(row, side, operation, plans, library) for row, side, operation in _waiting(session, patient, today)]
    forms = [form for form in found if form and not wording.withholds(_instruments(form), patient.language)]
    used = sorted({spec for form in forms for spec in _instruments(form)})
    return {
        "clinic": clinic_numbers(the_clinic(session), patient.language),
        "public_key": _public_key(session),
        "patient": {"first_name": patient.first_name, "language": patient.language},
        "operated_on": _last_operated_on(session, patient),
        "forms": forms,
        "held": _held(session, link, patient),
        "instruments": {spec: dict(library.definition_document(spec)) for spec in used},
        "texts": {spec: wording.texts(spec, patient.language) for spec in used},
    }


def _last_operated_on(session: Session, patient: Patient) -> str | None:
    """By which the phone names the signs of a fresh wound, also while only a form of the other shoulder is open."""
    of_patient = select(func.max(Operation.surgery_on)).join(Shoulder).where(Shoulder.patient_id == patient.id, STANDS)
    return _written_day(session.scalar(of_patient))


def _held(session: Session, link: Link, patient: Patient) -> list[str]:
    """Forms that came by this link and that a person must look at: its phone says that the clinic has them."""
    held = select(Timepoint.form_id).join(Envelope, Envelope.held_form_id == Timepoint.form_id).distinct()
    of_this = (Envelope.lookup_hash == link.lookup_hash, Envelope.state == "held")
    return list(session.scalars(held.where(Timepoint.patient_id == patient.id, *of_this).order_by(Timepoint.form_id)))


def _instruments(form: dict[str, Any]) -> list[str]:
    return [part["instrument"] for part in form["parts"]]


def clinic_numbers(clinic: Clinic, language: str) -> dict[str, Any]:
    """What every first screen, last screen and message says, the hours in the patient's language."""
    return {
        "name": clinic.name,
        "phone": clinic.phone,
        "phone_hours": in_language(clinic.phone_hours, language, clinic.languages),
        "closed_phone": clinic.closed_phone,
        "emergency_number": clinic.emergency_number,
        "demo": clinic.mode == "demo",
    }


def _public_key(session: Session) -> dict[str, str]:
    key = sealing_key_in_use(session)
    if key is None:
        raise NoSealingKey("this clinic has no sealing key; run the set-up again")
    return {"key_id": key.key_id, "suite": key.suite, "point": b64u(key.point)}


def _waiting(session: Session, patient: Patient, today: date) -> list[tuple[Timepoint, str, Operation]]:
    """What is open now, the side that was operated first leading."""
    rows = session.execute(
        select(Timepoint, Shoulder.side, Operation)
        .join(FollowUp, Timepoint.follow_up_id == FollowUp.id)
        .join(Operation, FollowUp.operation_id == Operation.id)
        .join(Shoulder, Operation.shoulder_id == Shoulder.id)
        .where(Timepoint.patient_id == patient.id, is_offered(today))
        .order_by(Timepoint.opens_on, Shoulder.side)
    )
    return [(row, side, operation) for row, side, operation in rows if status_of(row, today) in WAITING]


def _form(row: Timepoint, side: str, operation: Operation, plans: Plans, library: Library) -> dict[str, Any] | None:
    try:
        entry = plans.entry(row)
    except PlanUnusable:
        return None
    return {
        "form_id": row.form_id,
        "side": side,
        "timepoint": row.code,
        "title": dict(entry.title),
        "operation_on": _written_day(operation.surgery_on or operation.surgery_planned_on),
        "opens_on": row.opens_on.isoformat(),
        "due_on": row.due_on.isoformat(),
        "closes_on": _written_day(row.closes_on),
        "minutes": entry.minutes,
        "parts": [part.document() for part in asked_parts(library, entry.parts)],
    }


def _written_day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
