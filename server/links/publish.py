"""Seals what a patient has due for the patient's live link. The phone-facing part keeps it and cannot read it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import BindParameter, Date, bindparam, exists, select
from sqlalchemy.orm import Session, contains_eager

from scoring.library import Library
from scoring.strict_json import load_strict_json
from server.crypto import derive
from server.crypto.encoding import b64u, compact_json
from server.crypto.sheet import SealedSheet, SheetProblem, open_sheet, seal_sheet
from server.crypto.token import read_token
from server.fields.by_language import in_language
from server.forms.asked import asked_parts
from server.links.sheet_notices import Notices, read_notices
from server.models import Clinic, Envelope, Gate, Link, Operation, Patient, Shoulder, Timepoint
from server.models.follow_up import FollowUp
from server.queries.clock import the_clinic
from server.queries.current import LIVE_LINK, STANDS, aliases_of_each, is_offered, kept_record, sealing_key_in_use
from server.queries.facts import status_of
from server.queries.restored import first_revision, last_restored_at
from server.queries.texts_in_force import Wording, read_wording
from server.schedule.preference import PREFERENCE, Operated, asks_preference, with_preference
from server.schedule.status import WAITING
from server.timepoints.plans import Plans, PlanUnusable, read_plans


class NoSealingKey(RuntimeError):
    """The clinic has no live sealing key: set-up is not finished."""


# Asked for each patient and letter, and so put together once.
_PATIENTS: BindParameter[list[int]] = bindparam("patients", expanding=True)
_LIVE = (
    select(Link, Gate)
    .join(Gate, Gate.lookup_hash == Link.lookup_hash)
    .where(Link.patient_id.in_(bindparam("records", expanding=True)), LIVE_LINK, Link.token.is_not(None))
    .order_by(Link.id)
)
_OFFERED = (
    select(Timepoint, Shoulder.side, Operation)
    .join(FollowUp, Timepoint.follow_up_id == FollowUp.id)
    .join(Operation, FollowUp.operation_id == Operation.id)
    .join(Shoulder, Operation.shoulder_id == Shoulder.id)
    .where(Timepoint.patient_id.in_(_PATIENTS), is_offered(bindparam("today", type_=Date)))
    .order_by(Timepoint.opens_on, Shoulder.side)
    .options(contains_eager(Timepoint.follow_up))
)
_OPERATED = (
    select(
        Shoulder.patient_id,
        Shoulder.side,
        Operation.id,
        Operation.surgery_on,
        Operation.surgery_precision,
        exists().where(FollowUp.operation_id == Operation.id).label("followed"),
    )
    .join(Operation, Operation.shoulder_id == Shoulder.id)
    .where(Shoulder.patient_id.in_(_PATIENTS), STANDS, Operation.surgery_on.is_not(None))
)
_HELD = (
    select(Timepoint.patient_id, Envelope.lookup_hash, Timepoint.form_id)
    .join(Envelope, Envelope.held_form_id == Timepoint.form_id)
    .where(
        Timepoint.patient_id.in_(_PATIENTS),
        Envelope.lookup_hash.in_(bindparam("links", expanding=True)),
        Envelope.state == "held",
    )
    .distinct()
    .order_by(Timepoint.form_id)
)


def publish_sheet(session: Session, patient: Patient, *, library: Library, now: datetime, today: date) -> bool:
    """Brings the sheet of the patient's live link up to date, and of those of merged duplicates. True when one changed.

    The revision grows only then.
    """
    return publish_sheets(session, [patient], library=library, now=now, today=today) > 0


def publish_sheets(
    session: Session, patients: Iterable[Patient], *, library: Library, now: datetime, today: date
) -> int:
    """The same for many, in as many statements as for one; how many sheets changed.

    What a patient has due is sealed for the live link that was given to each of the patient's records, under that record's birth date.
    """
    kept = {each.id: each for each in (kept_record(session, patient) for patient in patients)}
    aliases = aliases_of_each(session, kept)
    of_record = {
        record.id: (kept[kept_id], record) for kept_id in kept for record in (kept[kept_id], *aliases[kept_id])
    }
    live = session.execute(_LIVE, {"records": list(of_record)}).all()
    if not live:
        return 0
    due = _read_due(session, list(kept), [link.lookup_hash for link, _ in live], library, today)
    changed = [_publish_to(due, *of_record[link.patient_id], link, gate, now) for link, gate in live]
    session.flush()
    return sum(changed)


def _publish_to(due: "_Due", patient: Patient, record: Patient, link: Link, gate: Gate, now: datetime) -> bool:
    link.sheet_stale = False
    token, born = read_token(link.token or ""), record.birth_on
    content = _content(due, patient, link)
    key, lookup = derive.due_key(token, born), derive.lookup(token)
    state = "due" if content["forms"] else "nothing_due"
    if gate.state == state and _published(gate, key, lookup) == content:
        return False
    revision = max(gate.revision + 1, due.least_revision)
    written = {
        "format": 1,
        "revision": revision,
        "made_at": now.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        **content,
    }
    sealed = seal_sheet(key, lookup, revision, compact_json(written))
    gate.state, gate.revision, gate.nonce, gate.ciphertext = state, sealed.revision, sealed.nonce, sealed.ciphertext
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


@dataclass(frozen=True)
class _Due:
    """What the sheets of some patients are made of. By patient where it is one patient's own, `held` by link as well."""

    library: Library
    wording: Wording
    plans: Plans
    clinic: Clinic
    notices: Notices
    public_key: Mapping[str, str]
    waiting: Mapping[int, Sequence[tuple[Timepoint, str, Operation]]]
    operated: Mapping[int, Sequence[Operated]]
    held: Mapping[tuple[int, bytes], Sequence[str]]
    least_revision: int


def _read_due(session: Session, patients: list[int], links: list[bytes], library: Library, today: date) -> _Due:
    clinic = the_clinic(session)
    return _Due(
        library,
        read_wording(session, library),
        read_plans(session),
        clinic,
        read_notices(session, patients, clinic),
        _public_key(session),
        _waiting(session, patients, today),
        _operated(session, patients),
        _held(session, patients, links),
        _least_revision(session),
    )


def _least_revision(session: Session) -> int:
    """Of what is published from now on."""
    restored_at = last_restored_at(session)
    return 1 if restored_at is None else first_revision(restored_at)


def _content(due: _Due, patient: Patient, link: Link) -> dict[str, Any]:
    """What waits and may be asked; a form stays out of the sheet when its plan is unusable or a text of it may not be sent."""
    wording, library = due.wording, due.library
    operated = due.operated.get(patient.id, ())
    found = [
        _form(row, side, operation, due.plans, library, prefers=_asks_preference(due, patient, row, operated))
        for row, side, operation in due.waiting.get(patient.id, ())
    ]
    forms = [form for form in found if form and not wording.withholds(_instruments(form), patient.language)]
    used = sorted({spec for form in forms for spec in _instruments(form)})
    return {
        "clinic": clinic_numbers(due.clinic, patient.language),
        "public_key": dict(due.public_key),
        "patient": {"first_name": patient.first_name, "language": patient.language},
        # By which the phone names the signs of a fresh wound, also while only a form of the other shoulder is open.
        "operated_on": _written_day(max((each.surgery_on for each in operated), default=None)),
        "forms": forms,
        "notices": due.notices.of(patient),
        "held": list(due.held.get((patient.id, link.lookup_hash), ())),
        "instruments": {spec: dict(library.definition_document(spec)) for spec in used},
        "texts": {spec: wording.texts(spec, patient.language) for spec in used},
    }


def _operated(session: Session, patients: list[int]) -> dict[int, list[Operated]]:
    operated: dict[int, list[Operated]] = {}
    for row in session.execute(_OPERATED, {"patients": patients}):
        one = Operated(row.id, row.side, row.surgery_on, row.surgery_precision, row.followed)
        operated.setdefault(row.patient_id, []).append(one)
    return operated


def _asks_preference(due: _Due, patient: Patient, row: Timepoint, operated: Sequence[Operated]) -> bool:
    """A text of the question that may not be sent holds back the question, never the form."""
    asks = asks_preference(row.code, row.opens_on, row.follow_up.operation_id, operated)
    return asks and not due.wording.withholds([PREFERENCE.instrument], patient.language)


def _held(session: Session, patients: list[int], links: list[bytes]) -> dict[tuple[int, bytes], list[str]]:
    """Forms that came by a link and that a person must look at: its phone says that the clinic has them."""
    held: dict[tuple[int, bytes], list[str]] = {}
    for row in session.execute(_HELD, {"patients": patients, "links": links}):
        held.setdefault((row.patient_id, row.lookup_hash), []).append(row.form_id)
    return held


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


def _waiting(session: Session, patients: list[int], today: date) -> dict[int, list[tuple[Timepoint, str, Operation]]]:
    """What is open now, the side that was operated first leading."""
    waiting: dict[int, list[tuple[Timepoint, str, Operation]]] = {}
    for row, side, operation in session.execute(_OFFERED, {"patients": patients, "today": today}):
        if status_of(row, today) in WAITING:
            waiting.setdefault(row.patient_id, []).append((row, side, operation))
    return waiting


def _form(
    row: Timepoint, side: str, operation: Operation, plans: Plans, library: Library, *, prefers: bool
) -> dict[str, Any] | None:
    try:
        entry = plans.entry(row)
    except PlanUnusable:
        return None
    parts = with_preference(entry.parts) if prefers else entry.parts
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
        "parts": [part.document() for part in asked_parts(library, parts)],
    }


def _written_day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
