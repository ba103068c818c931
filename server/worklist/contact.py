"""What was tried to reach the people of one page, in one query each."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.models import Clinic, Consent, ContactAttempt, Message
from server.models.clock import clinic_day


@dataclass(frozen=True)
class Tried:
    """`consenting`: patients with a consent to contact that stands. By timepoint: how many messages had which outcome, and how
    often staff tried to reach the patient, with the last day.
    """

    consenting: set[int]
    outcomes: dict[int, dict[str, int]]
    calls: dict[int, tuple[int, date]]


def what_was_tried(session: Session, patients: Collection[int], timepoints: Collection[int], clinic: Clinic) -> Tried:
    return Tried(_consenting(session, patients), _outcomes(session, timepoints), _calls(session, patients, clinic))


def _consenting(session: Session, patients: Collection[int]) -> set[int]:
    given = select(Consent.patient_id).where(
        Consent.patient_id.in_(patients), Consent.kind == "contact", Consent.withdrawn_on.is_(None)
    )
    return set(session.scalars(given))


def _outcomes(session: Session, timepoints: Collection[int]) -> dict[int, dict[str, int]]:
    query = (
        select(Message.timepoint_id, Message.outcome, func.count())
        .where(Message.timepoint_id.in_(timepoints), Message.outcome.is_not(None))
        .group_by(Message.timepoint_id, Message.outcome)
    )
    found: dict[int, dict[str, int]] = {}
    for timepoint_id, outcome, count in session.execute(query):
        found.setdefault(timepoint_id, {})[outcome or ""] = count
    return found


def _calls(session: Session, patients: Collection[int], clinic: Clinic) -> dict[int, tuple[int, date]]:
    query = (
        select(ContactAttempt.timepoint_id, func.count(), func.max(ContactAttempt.at))
        .where(ContactAttempt.patient_id.in_(patients), ContactAttempt.timepoint_id.is_not(None))
        .group_by(ContactAttempt.timepoint_id)
    )
    rows = session.execute(query)
    return {timepoint_id or 0: (count, clinic_day(clinic, last)) for timepoint_id, count, last in rows}
