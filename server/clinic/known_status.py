"""What a letter, a register, another department or a relative says of a person: checked, kept, corrected, taken back."""

from collections.abc import Iterator, Mapping
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.left_open import linkage_closed, outside_what_was_left_open
from server.clinic.lifetime import calendar_of
from server.clinic.recorded import bring_back, correct_row, enter_row, take_back
from server.fields.check import CheckedEntry, checked
from server.fields.day_words import day_words
from server.fields.field import Value
from server.fields.known_status import KNOWN_STATUS, NEEDED_OF_IMPLANT, STATUS_SOURCES
from server.fields.stored import stored_values
from server.models import Flag, KnownStatus, Patient
from server.queries.facts import death_by
from server.schedule.last_known import SHOWS, Fact, Source
from server.trust.audit import audit


def record_status(
    session: Session, patient: Patient, values: Mapping[str, Value], *, now: datetime, today: date, by_id: int | None
) -> KnownStatus:
    """What one source says. Raises EntryRefused with every error."""
    entry = check_status(patient, values, today)
    status = KnownStatus(**stored_values(KNOWN_STATUS, entry), patient_id=patient.id)
    enter_row(session, status, now=now, by_id=by_id, patient=patient.id)
    _lead_to_death(session, patient, status, now, by_id)
    return status


def correct_status(
    session: Session,
    status: KnownStatus,
    values: Mapping[str, Value],
    *,
    now: datetime,
    today: date,
    by_id: int | None,
    why: str,
) -> list[str]:
    """The names of the fields that changed; the values before stay in the history. Raises EntryRefused with every error."""
    patient = session.get_one(Patient, status.patient_id)
    entry = check_status(patient, values, today)
    changed = correct_row(session, status, stored_values(KNOWN_STATUS, entry), now=now, by_id=by_id, why=why)
    _lead_to_death(session, patient, status, now, by_id)
    return changed


def take_back_status(session: Session, status: KnownStatus, *, why: str, now: datetime, by_id: int | None) -> None:
    """It was entered in error, and so is the death that it told of, unless something else tells of it. Safe to repeat."""
    take_back(session, status, why=why, now=now, by_id=by_id)
    _lead_to_death(session, session.get_one(Patient, status.patient_id), status, now, by_id)


def bring_back_status(session: Session, status: KnownStatus, *, why: str, now: datetime, by_id: int | None) -> None:
    """It was no error after all."""
    bring_back(session, status, why=why, now=now, by_id=by_id)
    _lead_to_death(session, session.get_one(Patient, status.patient_id), status, now, by_id)


def _lead_to_death(session: Session, patient: Patient, status: KnownStatus, now: datetime, by_id: int | None) -> None:
    """A source that says dead enters no death: a person does, and until then no message goes out."""
    if status.alive != "dead" or status.taken_back_at is not None:
        _no_longer_said(session, patient, now, by_id)
        return
    waiting = select(Flag.id).where(Flag.patient_id == patient.id, Flag.kind == "said_died", Flag.settled_at.is_(None))
    if patient.died_on is None and session.scalar(waiting.limit(1)) is None:
        flag = Flag(kind="said_died", patient_id=patient.id, detail=_said(status), raised_at=now)
        session.add(flag)
        session.flush()
        audit(session, "flag:raised", f"flag {flag.id}", now=now, by_id=by_id, kind=flag.kind)


def _no_longer_said(session: Session, patient: Patient, now: datetime, by_id: int | None) -> None:
    """What sources had raised waits for nobody, unless another one says so; what an answer or a notice raised stays."""
    standing = KnownStatus.patient_id == patient.id, KnownStatus.taken_back_at.is_(None), KnownStatus.alive == "dead"
    other = session.scalars(select(KnownStatus).where(*standing).order_by(KnownStatus.id)).first()
    by_source = Flag.envelope_id.is_(None), Flag.response_id.is_(None), Flag.settled_at.is_(None)
    raised = select(Flag).where(Flag.patient_id == patient.id, Flag.kind == "said_died", *by_source)
    for flag in session.scalars(raised).all():
        if other is not None:
            flag.detail = _said(other)
            continue
        note = "What the source said was an error."
        flag.settled_at, flag.settled_by_id = now, by_id
        flag.settled_note = f"{flag.settled_note}\n{note}" if flag.settled_note else note
        audit(session, "flag:settled", f"flag {flag.id}", now=now, by_id=by_id, kind=flag.kind)


def _said(status: KnownStatus) -> str:
    return f"{STATUS_SOURCES[status.source]}, of {day_words(status.known_on)}"


def check_status(patient: Patient, values: Mapping[str, Value], today: date) -> CheckedEntry:
    """Raises EntryRefused with every error, of single fields and of fields together."""
    together = (
        *_together(values, patient),
        *_of_implant(values),
        *_of_register(values, patient),
        *outside_what_was_left_open(patient, values, "known_on"),
    )
    return checked(KNOWN_STATUS, values, calendar_of(patient, today), together)


def _together(values: Mapping[str, Value], patient: Patient) -> Iterator[tuple[str, str]]:
    source = values.get("source")
    if source in STATUS_SOURCES:
        shows, name = SHOWS[Source(str(source))], STATUS_SOURCES[str(source)]
        if values.get("alive") is not None and Fact.ALIVE not in shows:
            yield "alive", f"“{name}” does not show whether the person is alive. Leave this empty."
        if values.get("implant") is not None and Fact.IMPLANT not in shows:
            yield "implant", f"“{name}” does not show anything of an implant. Leave this empty."
    if source == Source.PATIENT and values.get("alive") == "dead":
        yield "alive", "The patient cannot say so. Name who did."
    if values.get("alive") is None and values.get("implant") is None:
        yield "alive", "Choose what the source says: of the person, of the shoulder, or of both."
    if values.get("implant") is not None and values.get("side") is None:
        yield "side", "Choose the shoulder."
    side = values.get("side")
    if side is not None and side not in {shoulder.side for shoulder in patient.shoulders}:
        yield "side", "Nothing is recorded of this shoulder."
    on, died = values.get("known_on"), death_by(patient)
    if isinstance(on, date) and died is not None and on > died and values.get("alive") == "alive":
        yield (
            "known_on",
            f"{day_words(on)} is after the death on {day_words(died)}. If the person lives, the death is a mistake to be undone first.",
        )


def _of_implant(values: Mapping[str, Value]) -> Iterator[tuple[str, str]]:
    """A letter shows something of the implant where it tells of an examination; a register, where it covers the operation."""
    needed = NEEDED_OF_IMPLANT.get(str(values.get("source")))
    for name in ("examined", "covers"):
        if name != needed and values.get(name) is not None:
            yield name, "This does not belong to that source. Leave it empty."
    if needed is not None and values.get("implant") is not None and values.get(needed) is None:
        yield needed, "Say whether it does; else it shows nothing of the implant."
    if needed == "covers" and values.get("implant") == "in_place" and values.get(needed) is False:
        yield (
            "implant",
            "A register that does not cover the operation does not show that there was none. Leave this empty.",
        )


def _of_register(values: Mapping[str, Value], patient: Patient) -> Iterator[tuple[str, str]]:
    if values.get("source") in (Source.REGISTER, Source.DEATH_REGISTER):
        closed = linkage_closed(patient, values.get("known_on"))
        if closed is not None:
            yield "source", closed
