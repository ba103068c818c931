"""Who came of age with a consent that somebody else gave is asked again: nothing ends by itself, Today says so until somebody has asked.

Of age by the clinic's setting, or at 18. The patient is asked about once: whoever settles the row has asked.
"""

from collections.abc import Iterable
from datetime import date, datetime

from sqlalchemy import ColumnElement, and_, exists, extract, or_, select
from sqlalchemy.orm import Session

from server.clinic.contact import settle_all
from server.models import Clinic, Consent, Flag, Patient
from server.queries.clock import clinic_day, the_clinic
from server.queries.facts import left_on
from server.schedule.dates import anniversary
from server.trust.audit import audit

USUAL_MAJORITY = 18
AGAIN = "consent_again"


def of_age_on(patient: Patient, clinic: Clinic) -> date:
    return anniversary(patient.birth_on, clinic.majority_age or USUAL_MAJORITY)


def standing(consents: Iterable[Consent]) -> list[Consent]:
    """Neither withdrawn nor set aside."""
    return [each for each in consents if each.withdrawn_on is None and each.set_aside_at is None]


def to_ask_again(patient: Patient, clinic: Clinic, today: date) -> list[Consent]:
    """Consents that somebody else gave for a child who is of age now; none of who is not followed any more."""
    of_age = of_age_on(patient, clinic)
    gone = left_on(patient) is not None or patient.merged_into_id is not None or patient.taken_back_at is not None
    if today < of_age or gone:
        return []
    newest = {each.kind: each for each in sorted(standing(patient.consents), key=lambda each: each.given_on)}
    return [each for each in newest.values() if each.given_on < of_age or each.given_by == "parent"]


def propose_asking_again(session: Session, *, now: datetime) -> int:
    """Raises a flag for each patient who came of age with somebody else's consent, once; how many. Safe to repeat."""
    clinic = the_clinic(session)
    today = clinic_day(clinic, now)
    raised = exists().where(Flag.patient_id == Patient.id, Flag.kind == AGAIN)
    perhaps = select(Patient).where(*_perhaps(clinic, today), Patient.erased_at.is_(None), ~raised)
    found = [each for each in session.scalars(perhaps).all() if to_ask_again(each, clinic, today)]
    for patient in found:
        session.add(Flag(kind=AGAIN, patient_id=patient.id, raised_at=now))
        audit(session, "consent:ask_again", f"patient {patient.id}", now=now)
    session.flush()
    return len(found)


def settle_what_was_asked(
    session: Session, *, now: datetime, patient: Patient | None = None, by_id: int | None = None
) -> None:
    """Settles the flags of those of whom nothing is to be asked any more: of one patient, or of all. Safe to repeat."""
    clinic = the_clinic(session)
    today = clinic_day(clinic, now)
    waiting = select(Patient).join(Flag).where(Flag.kind == AGAIN, Flag.settled_at.is_(None))
    if patient is not None:
        waiting = waiting.where(Patient.id == patient.id)
    session.flush()
    for each in session.scalars(waiting).all():
        if not to_ask_again(each, clinic, today):
            settle_all(session, each, AGAIN, "No consent is to be asked for again.", now=now, by_id=by_id)


def _perhaps(clinic: Clinic, today: date) -> list[ColumnElement[bool]]:
    """Conditions on Patient: who can be of age with another's consent, as far as the columns in clear tell."""
    years = clinic.majority_age or USUAL_MAJORITY
    young = extract("year", Consent.given_on) <= Patient.birth_year + years
    stands = and_(Consent.withdrawn_on.is_(None), Consent.set_aside_at.is_(None))
    by_another = exists().where(Consent.patient_id == Patient.id, stands, or_(Consent.given_by == "parent", young))
    left = (
        Patient.died_on,
        Patient.withdrew_on,
        Patient.transferred_on,
        Patient.merged_into_id,
        Patient.taken_back_at,
    )
    return [Patient.birth_year <= today.year - years, by_another, *(column.is_(None) for column in left)]
