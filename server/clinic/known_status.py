"""What a letter, a register, another department or a relative says of a person: checked, kept, corrected, taken back."""

from collections.abc import Iterator, Mapping
from datetime import date, datetime

from sqlalchemy.orm import Session

from server.clinic.left_open import outside_what_was_left_open
from server.clinic.lifetime import calendar_of
from server.clinic.recorded import correct_row, enter_row
from server.fields.check import CheckedEntry, checked
from server.fields.field import Value
from server.fields.known_status import KNOWN_STATUS, STATUS_SOURCES
from server.fields.stored import stored_values
from server.models import KnownStatus, Patient
from server.schedule.last_known import SHOWS, Fact, Source


def record_status(
    session: Session, patient: Patient, values: Mapping[str, Value], *, now: datetime, today: date, by_id: int | None
) -> KnownStatus:
    """What one source says. Raises EntryRefused with every error."""
    entry = check_status(patient, values, today)
    status = KnownStatus(**stored_values(KNOWN_STATUS, entry), patient_id=patient.id)
    enter_row(session, status, now=now, by_id=by_id, patient=patient.id)
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
    entry = check_status(session.get_one(Patient, status.patient_id), values, today)
    return correct_row(session, status, stored_values(KNOWN_STATUS, entry), now=now, by_id=by_id, why=why)


def check_status(patient: Patient, values: Mapping[str, Value], today: date) -> CheckedEntry:
    """Raises EntryRefused with every error, of single fields and of fields together."""
    together = (*_together(values, patient), *outside_what_was_left_open(patient, values, "known_on"))
    return checked(KNOWN_STATUS, values, calendar_of(patient, today), together)


def _together(values: Mapping[str, Value], patient: Patient) -> Iterator[tuple[str, str]]:
    source = values.get("source")
    if source in STATUS_SOURCES:
        shows, name = SHOWS[Source(str(source))], STATUS_SOURCES[str(source)]
        if values.get("alive") is not None and Fact.ALIVE not in shows:
            yield "alive", f"“{name}” does not show whether the person is alive. Leave this empty."
        if values.get("implant") is not None and Fact.IMPLANT not in shows:
            yield "implant", f"“{name}” does not show anything of an implant. Leave this empty."
    if values.get("alive") is None and values.get("implant") is None:
        yield "alive", "Choose what the source says: of the person, of the shoulder, or of both."
    if values.get("implant") is not None and values.get("side") is None:
        yield "side", "Choose the shoulder."
    side = values.get("side")
    if side is not None and side not in {shoulder.side for shoulder in patient.shoulders}:
        yield "side", "Nothing is recorded of this shoulder."
    on, died = values.get("known_on"), patient.died_on
    if isinstance(on, date) and died is not None and on > died and values.get("alive") == "alive":
        yield (
            "known_on",
            f"{on} is after the death on {died}. If the person lives, the death is a mistake to be undone first.",
        )
