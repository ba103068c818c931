"""What is recorded about a person, read as sightings for server.schedule.last_known: for one, or for many at once."""

from collections.abc import Collection, Iterator, Mapping
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, CompoundSelect, and_, case, exists, func, or_, select, union
from sqlalchemy.orm import Session

from server.fields.known_status import NEEDED_OF_IMPLANT
from server.fields.operation_words import AGAIN as DONE_AGAIN
from server.fields.operation_words import KINDS, done_here
from server.fields.person import USUAL_MAJORITY
from server.models import (
    ClinicEvent,
    ClinicFinding,
    Consent,
    ContactAttempt,
    FollowUp,
    KnownStatus,
    Operation,
    Patient,
    Response,
    ResponseMend,
    Shoulder,
    Timepoint,
)
from server.queries.clock import clinic_day, the_clinic
from server.queries.current import COUNTED, STANDS
from server.queries.facts import death_by
from server.schedule.after_contact import TABLE
from server.schedule.dates import last_possible
from server.schedule.last_known import SHOWS, Again, Fact, LastKnown, Sighting, Source, last_known

_OWN = ("patient", "patient_with_help")
_AGAIN = {True: Again.SAID, False: Again.NOT_SINCE_LAST}  # by the answer
OPERATED_AGAIN = "operated_again"  # the kind of event
_SPOKE = tuple(result for result, after in TABLE.items() if after.spoke)
Found = Iterator[tuple[int, Sighting]]


def last_known_of(session: Session, patient: Patient, as_of: date) -> LastKnown:
    """The three facts of one patient."""
    return last_known(_sightings(session, [patient.id]).get(patient.id, []), as_of, death_by(patient))


def last_known_of_all(session: Session, as_of: date) -> Mapping[int, LastKnown]:
    """By patient, of everybody: a statement for each kind of source, however many they are."""
    found = _sightings(session, None)
    patients = session.execute(select(Patient.id, Patient.died_on, Patient.died_precision).where(COUNTED))
    return {row.id: last_known(found.get(row.id, []), as_of, death_by(row)) for row in patients}


def _sightings(session: Session, patients: Collection[int] | None) -> Mapping[int, list[Sighting]]:
    found: dict[int, list[Sighting]] = {}
    for source in (_answers, _calls, _consents, _operations, _operated_again, _examinations, _told):
        for patient_id, sighting in source(session, patients):
            found.setdefault(patient_id, []).append(sighting)
    return found


def _of(query: Any, column: Any, patients: Collection[int] | None) -> Any:
    return query if patients is None else query.where(column.in_(patients))


def _answers(session: Session, patients: Collection[int] | None) -> Found:
    """What was set aside shows nothing, but that the person lives and was reached, where only its shoulder was the wrong one.

    What was taken at a visit is seen as the examination. Of answers to one follow-up that say the same the last one alone is read, since
    nothing else is asked of them; each by itself where somebody said of the person that there was another operation, by rule 5.
    """
    clinic, told_otherwise = the_clinic(session), _told_otherwise(session)
    apart = case((Response.patient_id.in_(_said_to_be_operated_again()), Response.id), else_=0)
    says = (
        Timepoint.follow_up_id, Response.patient_id, Response.answered_by, Response.operated_again,
        Response.set_aside_at.is_(None).label("kept"),
    )  # fmt: skip
    of_follow_up = select(*says, func.max(Response.id).label("id"), func.max(Response.finished_at).label("finished_at"))
    of_follow_up = of_follow_up.join(Timepoint, Timepoint.id == Response.timepoint_id)
    of_follow_up = of_follow_up.where(or_(Response.set_aside_at.is_(None), _own_of_other_side()))
    latest = _of(of_follow_up, Response.patient_id, patients).group_by(*says, apart).subquery()
    query = (
        select(latest, Shoulder.side, and_(STANDS, latest.c.kept).label("stands"))
        .join(FollowUp, FollowUp.id == latest.c.follow_up_id)
        .join(Operation, Operation.id == FollowUp.operation_id)
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
    )
    for row in session.execute(query):
        source = Source.ANSWER if row.answered_by in _OWN else Source.ANSWER_FOR
        shown = SHOWS[source] if row.operated_again is not None and row.stands else SHOWS[source] - {Fact.IMPLANT}
        again = None if row.id in told_otherwise or not row.stands else _AGAIN.get(row.operated_again)
        yield row.patient_id, Sighting(clinic_day(clinic, row.finished_at), source, shown, row.side, again)


def _said_to_be_operated_again() -> CompoundSelect[*tuple[Any, ...]]:
    """Of whom an answer, an event or another source ever said so."""
    return union(
        select(Response.patient_id).where(Response.operated_again.is_(True)),
        select(Shoulder.patient_id).join(ClinicEvent).where(ClinicEvent.kind == OPERATED_AGAIN),
        select(KnownStatus.patient_id).where(KnownStatus.implant == "operated"),
    )


def _own_of_other_side() -> ColumnElement[bool]:
    """Set aside since it is about the other shoulder, so the person is the right one."""
    return exists().where(
        ResponseMend.response_id == Response.id,
        ResponseMend.what == "set_aside",
        ResponseMend.reason == "wrong_side",
        ResponseMend.at == Response.set_aside_at,
    )


def _told_otherwise(session: Session) -> set[int | None]:
    """Answers of "operated again" whose event is taken back, became another kind, or is linked to an operation that stands."""
    settled = or_(
        ClinicEvent.taken_back_at.is_not(None),
        ClinicEvent.kind != OPERATED_AGAIN,
        ClinicEvent.recorded_as.has(),
    )
    return set(session.scalars(select(ClinicEvent.response_id).where(ClinicEvent.item.like("since@%/1"), settled)))


def _calls(session: Session, patients: Collection[int] | None) -> Found:
    clinic = the_clinic(session)
    query = select(ContactAttempt.patient_id, ContactAttempt.at).where(
        ContactAttempt.result.in_(_SPOKE),
        ContactAttempt.to_second_contact.is_not(True),
        ContactAttempt.taken_back_at.is_(None),
    )
    for row in session.execute(_of(query, ContactAttempt.patient_id, patients)):
        yield row.patient_id, Sighting(clinic_day(clinic, row.at), Source.CALL, SHOWS[Source.CALL])


def _consents(session: Session, patients: Collection[int] | None) -> Found:
    """One that a parent or representative gave shows nothing of the patient. By whom is not said of old ones: of a child not by itself."""
    of_age = the_clinic(session).majority_age or USUAL_MAJORITY
    by_self = or_(Consent.given_by.is_(None), Consent.given_by == "self")
    query = (
        select(Consent.patient_id, Consent.given_on, Consent.given_by, Patient.birth_year)
        .join(Patient, Patient.id == Consent.patient_id)
        .where(Consent.set_aside_at.is_(None), by_self)
    )
    for row in session.execute(_of(query, Consent.patient_id, patients)):
        if row.given_by == "self" or row.given_on.year - row.birth_year > of_age:
            yield row.patient_id, Sighting(row.given_on, Source.CONSENT, SHOWS[Source.CONSENT])


def _operations(session: Session, patients: Collection[int] | None) -> Found:
    """What was only told of an operation elsewhere is reported."""
    query = (
        select(
            Shoulder.patient_id, Shoulder.side, Operation.surgery_on, Operation.surgery_precision, Operation.place,
            Operation.kind, Operation.certainty,
        )
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .where(Operation.surgery_on.is_not(None), STANDS)
    )  # fmt: skip
    for row in session.execute(_of(query, Shoulder.patient_id, patients)):
        source = Source.OPERATION if done_here(row.kind, row.place) else Source.OPERATION_ELSEWHERE
        yield row.patient_id, Sighting(
            row.surgery_on, source, SHOWS[source], row.side,
            again=Again.RECORDED if KINDS[row.kind].order == DONE_AGAIN else None,
            until=last_possible(row.surgery_on, row.surgery_precision), reported=row.certainty == "reported",
        )  # fmt: skip


def _operated_again(session: Session, patients: Collection[int] | None) -> Found:
    """Events of an operation that is not recorded yet. One that was made of an answer is seen as that answer."""
    query = (
        select(
            Shoulder.patient_id,
            Shoulder.side,
            ClinicEvent.happened_on,
            ClinicEvent.happened_precision,
            ClinicEvent.certainty,
        )
        .join(Shoulder, Shoulder.id == ClinicEvent.shoulder_id)
        .where(
            ClinicEvent.kind == OPERATED_AGAIN,
            ClinicEvent.taken_back_at.is_(None),
            ~ClinicEvent.recorded_as.has(),
            ClinicEvent.response_id.is_(None),
        )
    )
    for row in session.execute(_of(query, Shoulder.patient_id, patients)):
        source = Source.OPERATION_ELSEWHERE
        yield row.patient_id, Sighting(
            row.happened_on, source, SHOWS[source], row.side, Again.SAID,
            until=last_possible(row.happened_on, row.happened_precision), reported=row.certainty == "reported",
        )  # fmt: skip


def _examinations(session: Session, patients: Collection[int] | None) -> Found:
    query = (
        select(Shoulder.patient_id, Shoulder.side, ClinicFinding.examined_on)
        .join(Shoulder, Shoulder.id == ClinicFinding.shoulder_id)
        .where(ClinicFinding.taken_back_at.is_(None))
    )
    for row in session.execute(_of(query, Shoulder.patient_id, patients)):
        yield row.patient_id, Sighting(row.examined_on, Source.EXAMINATION, SHOWS[Source.EXAMINATION], row.side)


def _told(session: Session, patients: Collection[int] | None) -> Found:
    """Of an implant a letter shows something only where it tells of an examination, a register only where it covers the operation."""
    query = select(KnownStatus).where(KnownStatus.taken_back_at.is_(None))
    for row in session.scalars(_of(query, KnownStatus.patient_id, patients)):
        source = Source(row.source)
        says = {Fact.ALIVE} if row.alive == "alive" else set()
        says |= {Fact.CONTACT} if source == Source.PATIENT else set()
        yield row.patient_id, Sighting(row.known_on, source, frozenset(says))
        if row.implant is not None:
            again = Again.SAID if row.implant == "operated" else Again.NONE
            needs = NEEDED_OF_IMPLANT.get(row.source)
            apart = needs is not None and getattr(row, needs) is not True
            yield (
                row.patient_id,
                Sighting(row.known_on, source, frozenset({Fact.IMPLANT}), row.side, again, reported=apart),
            )
