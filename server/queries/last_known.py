"""What is recorded about a person, read as sightings for server.schedule.last_known: for one, or for many at once."""

from collections.abc import Collection, Iterator, Mapping
from datetime import date
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import (
    ClinicFinding,
    Consent,
    ContactAttempt,
    FollowUp,
    KnownStatus,
    Operation,
    Patient,
    Response,
    Shoulder,
    Timepoint,
)
from server.queries.clock import clinic_day, the_clinic
from server.queries.current import COUNTED, STANDS
from server.schedule.after_contact import TABLE
from server.schedule.last_known import SHOWS, Fact, LastKnown, Sighting, Source, last_known

_OWN = ("patient", "patient_with_help")
_SPOKE = tuple(result for result, after in TABLE.items() if after.spoke)
Found = Iterator[tuple[int, Sighting]]


def last_known_of(session: Session, patient: Patient, as_of: date) -> LastKnown:
    """The three facts of one patient."""
    return last_known(_sightings(session, [patient.id]).get(patient.id, []), as_of, patient.died_on)


def last_known_of_all(session: Session, as_of: date) -> Mapping[int, LastKnown]:
    """By patient, of everybody: a statement for each kind of source, however many they are."""
    found = _sightings(session, None)
    patients = session.execute(select(Patient.id, Patient.died_on).where(COUNTED))
    return {row.id: last_known(found.get(row.id, []), as_of, row.died_on) for row in patients}


def _sightings(session: Session, patients: Collection[int] | None) -> Mapping[int, list[Sighting]]:
    found: dict[int, list[Sighting]] = {}
    for source in (_answers, _calls, _consents, _operations, _examinations, _told):
        for patient_id, sighting in source(session, patients):
            found.setdefault(patient_id, []).append(sighting)
    return found


def _of(query: Any, column: Any, patients: Collection[int] | None) -> Any:
    return query if patients is None else query.where(column.in_(patients))


def _answers(session: Session, patients: Collection[int] | None) -> Found:
    """Answers set aside are somebody else's, or of another side. What was taken at a visit is seen as the examination."""
    clinic = the_clinic(session)
    query = (
        select(
            Response.patient_id,
            Response.finished_at,
            Response.answered_by,
            Response.operated_again,
            Shoulder.side,
            STANDS.label("stands"),
        )
        .join(Timepoint, Timepoint.id == Response.timepoint_id)
        .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        .join(Operation, Operation.id == FollowUp.operation_id)
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .where(Response.set_aside_at.is_(None))
    )
    for row in session.execute(_of(query, Response.patient_id, patients)):
        source = Source.ANSWER if row.answered_by in _OWN else Source.ANSWER_FOR
        says = SHOWS[source] if row.operated_again is not None and row.stands else SHOWS[source] - {Fact.IMPLANT}
        yield row.patient_id, Sighting(clinic_day(clinic, row.finished_at), source, says, row.side)


def _calls(session: Session, patients: Collection[int] | None) -> Found:
    clinic = the_clinic(session)
    query = select(ContactAttempt.patient_id, ContactAttempt.at).where(
        ContactAttempt.result.in_(_SPOKE), ContactAttempt.to_second_contact.is_not(True)
    )
    for row in session.execute(_of(query, ContactAttempt.patient_id, patients)):
        yield row.patient_id, Sighting(clinic_day(clinic, row.at), Source.CALL, SHOWS[Source.CALL])


def _consents(session: Session, patients: Collection[int] | None) -> Found:
    """One that a parent or representative gave shows nothing of the patient."""
    by_self = (Consent.given_by.is_(None)) | (Consent.given_by == "self")
    query = select(Consent.patient_id, Consent.given_on).where(Consent.set_aside_at.is_(None), by_self)
    for row in session.execute(_of(query, Consent.patient_id, patients)):
        yield row.patient_id, Sighting(row.given_on, Source.CONSENT, SHOWS[Source.CONSENT])


def _operations(session: Session, patients: Collection[int] | None) -> Found:
    query = (
        select(Shoulder.patient_id, Shoulder.side, Operation.surgery_on, Operation.place)
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .where(Operation.surgery_on.is_not(None), STANDS)
    )
    for row in session.execute(_of(query, Shoulder.patient_id, patients)):
        source = Source.OPERATION_ELSEWHERE if row.place == "elsewhere" else Source.OPERATION
        yield row.patient_id, Sighting(row.surgery_on, source, SHOWS[source], row.side)


def _examinations(session: Session, patients: Collection[int] | None) -> Found:
    query = (
        select(Shoulder.patient_id, Shoulder.side, ClinicFinding.examined_on)
        .join(Shoulder, Shoulder.id == ClinicFinding.shoulder_id)
        .where(ClinicFinding.taken_back_at.is_(None))
    )
    for row in session.execute(_of(query, Shoulder.patient_id, patients)):
        yield row.patient_id, Sighting(row.examined_on, Source.EXAMINATION, SHOWS[Source.EXAMINATION], row.side)


def _told(session: Session, patients: Collection[int] | None) -> Found:
    query = select(KnownStatus).where(KnownStatus.taken_back_at.is_(None))
    for row in session.scalars(_of(query, KnownStatus.patient_id, patients)):
        says = {Fact.ALIVE} if row.alive is not None else set()
        says |= {Fact.IMPLANT} if row.implant is not None else set()
        says |= {Fact.CONTACT} if row.source == Source.PATIENT else set()
        yield row.patient_id, Sighting(row.known_on, Source(row.source), frozenset(says), row.side)
