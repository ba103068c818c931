"""What was tried to reach the people of one page, in one query each."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.models import Clinic, Consent, ContactAttempt, Message
from server.queries.clock import clinic_day


@dataclass(frozen=True)
class Call:
    """One try to reach a patient. `timepoint_id` None: about everything that was open then."""

    at: datetime
    result: str
    timepoint_id: int | None


@dataclass(frozen=True)
class Calls:
    """How often, and of the last one the day and the result; neither where there was none."""

    count: int = 0
    last_on: date | None = None
    result: str = ""


@dataclass(frozen=True)
class ContactTried:
    """`consenting`: patients with a consent to contact that stands. By timepoint: how many messages had which outcome.
    By patient: how staff tried to reach them, oldest first.
    """

    consenting: set[int]
    outcomes: dict[int, dict[str, int]]
    calls: dict[int, list[Call]]

    def calls_since(self, patient_id: int, since_on: date, clinic: Clinic, timepoint_id: int | None = None) -> Calls:
        """Those since a day; with `timepoint_id` those about that timepoint or about everything that was open."""
        calls = self.calls.get(patient_id, [])
        about = [each for each in calls if timepoint_id is None or each.timepoint_id in (None, timepoint_id)]
        since = [each for each in about if clinic_day(clinic, each.at) >= since_on]
        return Calls(len(since), clinic_day(clinic, since[-1].at), since[-1].result) if since else Calls()


def contact_tried(session: Session, patients: Collection[int], timepoints: Collection[int]) -> ContactTried:
    return ContactTried(_consenting(session, patients), _outcomes(session, timepoints), _calls(session, patients))


def _consenting(session: Session, patients: Collection[int]) -> set[int]:
    given = select(Consent.patient_id).where(
        Consent.patient_id.in_(patients),
        Consent.kind == "contact",
        Consent.withdrawn_on.is_(None),
        Consent.set_aside_at.is_(None),
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


def _calls(session: Session, patients: Collection[int]) -> dict[int, list[Call]]:
    wanted = select(
        ContactAttempt.patient_id, ContactAttempt.at, ContactAttempt.result, ContactAttempt.timepoint_id
    ).where(ContactAttempt.patient_id.in_(patients), ContactAttempt.taken_back_at.is_(None))
    found: dict[int, list[Call]] = {}
    for row in session.execute(wanted.order_by(ContactAttempt.at, ContactAttempt.id)):
        found.setdefault(row.patient_id, []).append(Call(row.at, row.result, row.timepoint_id))
    return found
