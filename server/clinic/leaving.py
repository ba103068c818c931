"""A patient dies or moves to another clinic: nothing more is expected from that day on. Ending the link is the caller's."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy.orm import Session

from server.clinic.contact import settle_all
from server.clinic.contradiction import Contradiction, refuse_first, refuse_if
from server.clinic.history import change_row, note_change
from server.clinic.later_facts import later_facts
from server.clinic.left_open import linkage_closed, recording_closed
from server.clinic.operation_doubts import CHECKED
from server.clinic.operations import refresh_follow_ups
from server.fields.check import Calendar, EntryRefused, check_day
from server.fields.day_words import day_words
from server.fields.field import Tense
from server.fields.person import DEATH_SOURCES, NO_RECORD, ONLY_REPORTED
from server.models import Patient
from server.queries.facts import death_by
from server.queries.last_known import last_known_of
from server.schedule.dates import last_possible
from server.schedule.follow_up_dates import EndReason
from server.trust.audit import audit


@dataclass(frozen=True)
class DeathTold:
    """Who told of a death, how surely, and how exactly its day is known, by the words of the field table."""

    source: str | None = None
    certainty: str | None = None
    precision: str = "day"


def patient_died(
    session: Session,
    patient: Patient,
    on: date,
    *,
    now: datetime,
    today: date,
    by_id: int | None,
    told: DeathTold | None = None,
    checked: bool = False,
) -> None:
    """Nothing more is expected from that day on.

    Known to the month or year it is kept as the first day that it can be, inside the operations and the last day known alive.
    Raises EntryRefused for what is recorded of later days, until somebody says that they have checked it.
    """
    told = told or DeathTold()
    refuse_if(
        told.source in ONLY_REPORTED and told.certainty not in (None, "reported"),
        f"What is known from {DEATH_SOURCES.get(told.source or '')} is only said. Name what it was checked by.",
    )
    latest = last_possible(on, told.precision)
    if told.source == "death_register":
        refuse_if((closed := linkage_closed(patient, latest)) is not None, closed or "")
    _refuse_before_operation(patient, latest)
    _refuse_from_records(patient, latest, told)
    first = _first_possible(session, patient, on, told.precision)
    _ask_about_later(session, patient, latest, EndReason.DIED, checked=checked, now=now, by_id=by_id)
    precision = None if told.precision == "day" else told.precision
    how = {"died_source": told.source, "died_certainty": told.certainty, "died_precision": precision}
    _end_all(session, patient, EndReason.DIED, first, now=now, today=today, by_id=by_id, how=how)
    settle_all(
        session, patient, "said_died", f"The death was entered: {day_words(on, precision)}.", now=now, by_id=by_id
    )


def _refuse_from_records(patient: Patient, on: date, told: DeathTold) -> None:
    """Who closed the records closed none of the other ways by which a death is heard of; once it is entered, nobody writes to the dead.

    `on`: the last day that it can have been.
    """
    closed = None if told.source in NO_RECORD else recording_closed(patient, on)
    if closed is not None:
        otherwise = "A death that is known otherwise, from a relative or by a public notice, can be entered: name that."
        raise Contradiction(f"{closed} {otherwise}")


def _first_possible(session: Session, patient: Patient, on: date, precision: str) -> date:
    if precision == "day":
        return on
    first = on.replace(day=1) if precision == "month" else on.replace(month=1, day=1)
    alive = last_known_of(session, patient, last_possible(on, precision)).alive
    return max(first, alive.on) if alive is not None else first


def _ask_about_later(
    session: Session, patient: Patient, on: date, reason: EndReason, *, checked: bool, now: datetime, by_id: int | None
) -> None:
    """Asked about once; who has checked it keeps both, and that is recorded."""
    later = later_facts(session, patient, on, of_a_death=reason == EndReason.DIED)
    if later and not checked:
        raise EntryRefused({"checked": [*later]})
    for sentence in later:
        note_change(session, patient, CHECKED, None, sentence, now=now, by_id=by_id)


def transferred(
    session: Session,
    patient: Patient,
    on: date,
    *,
    now: datetime,
    today: date,
    by_id: int | None,
    checked: bool = False,
) -> None:
    """Another clinic follows the patient from that day on. Raises EntryRefused for what is recorded of later days, likewise."""
    _refuse_before_operation(patient, on)
    _ask_about_later(session, patient, on, EndReason.TRANSFERRED, checked=checked, now=now, by_id=by_id)
    _end_all(session, patient, EndReason.TRANSFERRED, on, now=now, today=today, by_id=by_id)


def _refuse_before_operation(patient: Patient, on: date) -> None:
    operations = [operation for shoulder in patient.shoulders for operation in shoulder.operations]
    done = [each.surgery_on for each in operations if each.surgery_on is not None]
    refuse_if(
        bool(done) and on < max(done),
        f"{day_words(on)} is before an operation of this patient. Check the year of both.",
    )


def _end_all(
    session: Session,
    patient: Patient,
    reason: EndReason,
    on: date,
    *,
    now: datetime,
    today: date,
    by_id: int | None,
    how: Mapping[str, str | None] | None = None,
) -> None:
    column, words = _ENDS[reason]
    known = getattr(patient, column)
    refuse_if(known is not None, f"The patient {words} on {day_words(known)}; that is already entered.")
    died = death_by(patient)
    refuse_if(died is not None and on > died, f"The patient died on {day_words(died)}, before {day_words(on)}.")
    refuse_first(check_day(on, Tense.PAST, Calendar(today, patient.birth_on)))
    change_row(session, patient, {column: on, **(how or {})}, now=now, by_id=by_id)
    audit(session, f"patient:{reason}", f"patient {patient.id}", now=now, by_id=by_id, on=on)
    operations = [operation for shoulder in patient.shoulders for operation in shoulder.operations]
    refresh_follow_ups(session, operations, now=now, today=today, by_id=by_id)


_ENDS = {
    EndReason.DIED: ("died_on", "died"),
    EndReason.TRANSFERRED: ("transferred_on", "was transferred"),
}
