"""What was tried to reach the people of one page, in one query each."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.models import Clinic, Consent, ContactAttempt, Message
from server.queries.clock import clinic_day


@dataclass(frozen=True)
class ContactTried:
    """`consenting`: patients with a consent to contact that stands. By timepoint: how many messages had which outcome.
    By patient: when staff tried to reach them, oldest first.
    """

    consenting: set[int]
    outcomes: dict[int, dict[str, int]]
    calls: dict[int, list[datetime]]

    def calls_since(self, patient_id: int, opened_on: date, clinic: Clinic) -> tuple[int, date | None]:
        """How often since a timepoint opened, and the last day: one call speaks for everything that was open then."""
        days = [clinic_day(clinic, at) for at in self.calls.get(patient_id, [])]
        since = [day for day in days if day >= opened_on]
        return len(since), (since[-1] if since else None)


def contact_tried(session: Session, patients: Collection[int], timepoints: Collection[int]) -> ContactTried:
    return ContactTried(_consenting(session, patients), _outcomes(session, timepoints), _calls(session, patients))


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


def _calls(session: Session, patients: Collection[int]) -> dict[int, list[datetime]]:
    query = select(ContactAttempt.patient_id, ContactAttempt.at).where(ContactAttempt.patient_id.in_(patients))
    found: dict[int, list[datetime]] = {}
    for patient_id, at in session.execute(query.order_by(ContactAttempt.at)):
        found.setdefault(patient_id, []).append(at)
    return found
