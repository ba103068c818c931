"""A patient wants less of it: how far that goes, and that it can be taken back. What stays open is in left_open.py."""

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.contact import settle_all
from server.clinic.contradiction import refuse_first, refuse_if
from server.clinic.history import change_row
from server.fields.check import Calendar, check_day
from server.fields.day_words import day_words
from server.fields.field import Tense
from server.fields.person import WITHDRAWAL_EXTENTS
from server.models import ClinicEvent, Consent, FieldChange, Patient
from server.queries.facts import death_by
from server.timepoints.restate import restate
from server.trust.audit import audit

ENDED_BY = {  # what each extent ends of the consents that stand
    "messages": (),
    "contact": ("contact", "unfinished"),
    "records": ("contact", "unfinished", "linkage"),
    "erasure": ("contact", "unfinished", "linkage", "research"),
}
# The day from which each step holds; a step takes in those before it, messages apart.
_DAYS = {"contact": "withdrew_on", "records": "records_closed_on", "erasure": "erasure_asked_on"}
ENDS = {"died": "died_on", "withdrew": "withdrew_on", "transferred": "transferred_on", "lost": "lost_on"}


@dataclass(frozen=True)
class Wish:
    """How far a withdrawal goes, in whose words, and who said so: as consents name it, with a name where it is not the patient."""

    extent: str
    why: str | None = None
    by: str = "self"
    by_name: str | None = None


def withdraw(
    session: Session,
    patient: Patient,
    on: date,
    wish: Wish,
    *,
    now: datetime,
    today: date,
    by_id: int | None,
) -> None:
    """From that day on, as far as it was said; said again, it goes further. Raises Contradiction."""
    extent, why = wish.extent, wish.why
    steps = list(WITHDRAWAL_EXTENTS)
    before = patient.withdrawal_extent or ("contact" if patient.withdrew_on else None)
    refuse_if(extent not in steps, "Choose how far it goes.")
    refuse_if(
        before is not None and steps.index(extent) <= steps.index(before),
        f"The patient withdrew on {day_words(patient.withdrew_on or patient.messages_stopped_on)}; that is already entered.",
    )
    died = death_by(patient)
    refuse_if(died is not None and on > died, f"The patient died on {day_words(died)}, before {day_words(on)}.")
    refuse_first(check_day(on, Tense.PAST, Calendar(today, patient.birth_on)))
    values: dict[str, object] = {"withdrawal_extent": extent}
    if extent == "messages":
        values["messages_stopped_on"] = on
    for step, column in _DAYS.items():
        if steps.index(step) <= steps.index(extent):
            values[column] = min(on, getattr(patient, column) or on)
    change_row(session, patient, values, now=now, by_id=by_id, why=why)
    audit(session, "patient:withdrew", f"patient {patient.id}", now=now, by_id=by_id, on=on, extent=extent)
    for consent in patient.consents:
        if consent.kind in ENDED_BY[extent] and consent.withdrawn_on is None and consent.set_aside_at is None:
            ended = {
                "withdrawn_on": max(on, consent.given_on),
                "withdrawn_by": wish.by,
                "withdrawn_by_name": wish.by_name,
            }
            change_row(session, consent, ended, now=now, by_id=by_id, why=why)
            consent.withdrawal_taken_by_id = by_id
    settle_all(session, patient, "asked_to_stop", f"The withdrawal was entered: {day_words(on)}.", now=now, by_id=by_id)
    restate(session, patient, now=now, today=today, by_id=by_id)


def undo_end(session: Session, patient: Patient, end: str, *, why: str, now: datetime, today: date, by_id: int) -> None:
    """It was the wrong patient, or is no longer so: expected again as if it had not been entered. Reviving the link is the caller's."""
    column = ENDS[end]
    known = getattr(patient, column)
    stopped = end == "withdrew" and patient.messages_stopped_on is not None
    refuse_if(known is None and not stopped, "This is not entered of this patient; there is nothing to take back.")
    values: dict[str, object] = {column: None}
    if end == "died":
        _refuse_while_an_event_says_so(session, patient)
        values |= dict.fromkeys(("died_source", "died_certainty", "died_precision"))
    if end == "withdrew":
        values |= dict.fromkeys(("withdrawal_extent", "messages_stopped_on", *_DAYS.values()))
        _give_back_consents(session, patient, why=why, now=now, by_id=by_id)
    change_row(session, patient, values, now=now, by_id=by_id, why=why)
    audit(session, f"patient:{end}_taken_back", f"patient {patient.id}", now=now, by_id=by_id, on=known)
    restate(session, patient, now=now, today=today, by_id=by_id)


def _refuse_while_an_event_says_so(session: Session, patient: Patient) -> None:
    of_patient = ClinicEvent.shoulder_id.in_([each.id for each in patient.shoulders])
    told = of_patient, ClinicEvent.kind == "death", ClinicEvent.taken_back_at.is_(None)
    found = session.scalar(select(ClinicEvent.id).where(*told).limit(1))
    refuse_if(found is not None, "An event says that the patient died. Mark it as entered in error first.")


def _give_back_consents(session: Session, patient: Patient, *, why: str, now: datetime, by_id: int) -> None:
    """Those that ended in the very act that is taken back; what the patient withdrew apart, or a merge ended, stays withdrawn."""
    acts = select(FieldChange.at).where(
        FieldChange.table_name == "patient",
        FieldChange.row_id == patient.id,
        FieldChange.field.in_(("withdrew_on", "withdrawal_extent")),
    )
    moments = set(session.scalars(acts))
    ended = select(FieldChange).where(FieldChange.table_name == "consent", FieldChange.field == "withdrawn_on")
    ids = {each.id for each in patient.consents}
    for change in session.scalars(ended.where(FieldChange.row_id.in_(ids))).all():
        consent = session.get_one(Consent, change.row_id)
        ended_here = change.at in moments and consent.withdrawn_by is not None  # a merge at that moment names nobody
        if ended_here and change.new and consent.withdrawn_on == date.fromisoformat(change.new):
            back = {"withdrawn_on": None, "withdrawn_by": None, "withdrawn_by_name": None}
            change_row(session, consent, back, now=now, by_id=by_id, why=why)
            consent.withdrawal_taken_by_id = None
