"""What an examiner found at a visit: checked by its field table, kept, corrected with a reason, and taken back where it was an error."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime

from sqlalchemy.orm import Session

from server.clinic.left_open import outside_what_was_left_open
from server.clinic.lifetime import calendar_of, not_within_life
from server.clinic.recorded import correct_row, enter_row
from server.fields.check import CheckedEntry, checked
from server.fields.field import OTHER, Value
from server.fields.finding import FINDING, OF_A_COMPONENT, RADIOGRAPHIC
from server.fields.stored import stored_values
from server.models import ClinicFinding, Operation, Patient, Shoulder
from server.schedule.dates import anniversary


def record_finding(
    session: Session,
    shoulder: Shoulder,
    values: Mapping[str, Value],
    *,
    now: datetime,
    today: date,
    by_id: int | None,
) -> ClinicFinding:
    """The finding of one visit. Raises EntryRefused with every error."""
    entry = check_finding(session.get_one(Patient, shoulder.patient_id), values, today)
    finding = ClinicFinding(**stored_values(FINDING, entry), shoulder_id=shoulder.id)
    enter_row(session, finding, now=now, by_id=by_id, shoulder=shoulder.id)
    return finding


def correct_finding(
    session: Session,
    finding: ClinicFinding,
    values: Mapping[str, Value],
    *,
    now: datetime,
    today: date,
    by_id: int | None,
    why: str,
) -> list[str]:
    """The names of the fields that changed; the values before stay in the history. Raises EntryRefused with every error."""
    shoulder = session.get_one(Shoulder, finding.shoulder_id)
    entry = check_finding(session.get_one(Patient, shoulder.patient_id), values, today)
    return correct_row(session, finding, stored_values(FINDING, entry), now=now, by_id=by_id, why=why)


def check_finding(patient: Patient, values: Mapping[str, Value], today: date) -> CheckedEntry:
    """Raises EntryRefused with every error, of single fields and of fields together."""
    days = ("examined_on", *(name for name in ("radiograph_on",) if values.get(name) is not None))
    closed = [each for day in days for each in outside_what_was_left_open(patient, values, day)]
    together = (*_together(values), *not_within_life(FINDING, values, patient), *closed)
    return checked(FINDING, values, calendar_of(patient, today), together)


def doubts_about_visit(values: Mapping[str, Value], operations: Iterable[Operation]) -> list[str]:
    """A visit long before anything was done on this shoulder is often one of another year, or of the other shoulder."""
    on = values.get("examined_on")
    first = min((each.surgery_on for each in operations if each.surgery_on is not None), default=None)
    if first is None or not isinstance(on, date) or anniversary(on, 1) >= first:
        return []
    return [
        f"This visit lies more than a year before the first operation of this shoulder, of {first}. Are the day and the shoulder right?"
    ]


def _together(values: Mapping[str, Value]) -> Iterator[tuple[str, str]]:
    measured = values.get("strength")
    if (measured is not None or values.get("other_strength") is not None) and values.get("strength_unit") is None:
        yield "strength_unit", "Choose the unit of the strength."
    position = values.get("strength_position")
    if values.get("cannot_reach_90") and measured and isinstance(position, str) and "_90" in position:
        yield (
            "strength",
            "The arm cannot reach 90°, so no strength was measured there. Leave it empty, or choose another position.",
        )
    if any(values.get(name) == OTHER for name in RADIOGRAPHIC) and not values.get("radiograph_other"):
        yield "radiograph_other", "Say what else the radiographs show."
    for name in OF_A_COMPONENT:
        if values.get(f"{name}_of") is not None and values.get(name) in (None, "none", "not_assessable"):
            yield f"{name}_of", "No degree of it is entered above. Choose one there, or leave this empty."
