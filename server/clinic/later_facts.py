"""What is recorded of days after a death or a transfer, and so speaks against its day."""

from collections.abc import Iterator
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.fields.day_words import day_words
from server.models import ClinicEvent, ClinicFinding, ContactAttempt, KnownStatus, Patient, Response, Shoulder
from server.queries.clock import clinic_day, the_clinic
from server.schedule.after_contact import TABLE

_OWN = ("patient", "patient_with_help")
_SPOKE = tuple(result for result, after in TABLE.items() if after.spoke)


def later_facts(session: Session, patient: Patient, on: date, *, of_a_death: bool) -> list[str]:
    """A sentence for each, the earliest first. Operations are no matter here: an end before one is refused."""
    sources = (_answers, _visits, _events, _talks, *((_sightings,) if of_a_death else ()))
    found = {(day, what) for source in sources for day, what in source(session, patient) if day > on}
    return [f"{what} on {day_words(day)}." for day, what in sorted(found)]


def _answers(session: Session, patient: Patient) -> Iterator[tuple[date, str]]:
    clinic = the_clinic(session)
    own = Response.set_aside_at.is_(None), Response.answered_by.in_(_OWN)
    for at in session.scalars(select(Response.finished_at).where(Response.patient_id == patient.id, *own)):
        yield clinic_day(clinic, at), "A form was answered by the patient"


def _visits(session: Session, patient: Patient) -> Iterator[tuple[date, str]]:
    standing = Shoulder.patient_id == patient.id, ClinicFinding.taken_back_at.is_(None)
    for day in session.scalars(select(ClinicFinding.examined_on).join(Shoulder).where(*standing)):
        yield day, "The patient was examined"


def _events(session: Session, patient: Patient) -> Iterator[tuple[date, str]]:
    standing = Shoulder.patient_id == patient.id, ClinicEvent.taken_back_at.is_(None)
    for day in session.scalars(select(ClinicEvent.happened_on).join(Shoulder).where(*standing)):
        yield day, "An event was written down as happening"


def _talks(session: Session, patient: Patient) -> Iterator[tuple[date, str]]:
    clinic = the_clinic(session)
    spoke = (
        ContactAttempt.result.in_(_SPOKE),
        ContactAttempt.to_second_contact.is_not(True),
        ContactAttempt.taken_back_at.is_(None),
    )
    for at in session.scalars(select(ContactAttempt.at).where(ContactAttempt.patient_id == patient.id, *spoke)):
        yield clinic_day(clinic, at), "The patient was spoken to"


def _sightings(session: Session, patient: Patient) -> Iterator[tuple[date, str]]:
    alive = KnownStatus.patient_id == patient.id, KnownStatus.taken_back_at.is_(None), KnownStatus.alive == "alive"
    for day in session.scalars(select(KnownStatus.known_on).where(*alive)):
        yield day, "A source says that the patient was alive"
