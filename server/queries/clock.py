"""The clinic's clock: the real one, or in a demo one that can be set forward and runs on from there."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models.clinic import Clinic

# Asked first in every session. Whoever asks may be in the middle of writing.
_THE_CLINIC = select(Clinic).where(Clinic.id == 1).execution_options(autoflush=False)


class ClockRefused(RuntimeError):
    """A live clinic's clock is never set."""


def the_clinic(session: Session) -> Clinic:
    """The installation's clinic. Raises NoResultFound before the first set-up."""
    held = session.info.get(Clinic)  # or the session would forget the row and ask the database at every call
    if isinstance(held, Clinic) and held in session:
        return held
    clinic = session.scalars(_THE_CLINIC).one()
    session.info[Clinic] = clinic
    return clinic


def clinic_to_change(session: Session) -> Clinic:
    """The clinic as it is now, and nobody else changes it before this transaction ends.

    PostgreSQL queues whoever changes it on its row; SQLite's write lock already did.
    """
    return session.get_one(Clinic, 1, with_for_update=True, populate_existing=True)


def clinic_now(clinic: Clinic, real_now: datetime) -> datetime:
    """Aware UTC. `real_now` is the machine's clock."""
    if clinic.clock_real_at is None or clinic.clock_shown_at is None:
        return real_now
    return clinic.clock_shown_at + (real_now - clinic.clock_real_at)


def set_clock(clinic: Clinic, shown_at: datetime, real_now: datetime) -> None:
    if clinic.mode != "demo":
        raise ClockRefused("this is a live clinic; its clock is the machine's and cannot be set")
    clinic.clock_real_at, clinic.clock_shown_at = real_now, shown_at


def clinic_day(clinic: Clinic, at: datetime) -> date:
    """The calendar day at the clinic."""
    return at.astimezone(ZoneInfo(clinic.time_zone)).date()


def real_now() -> datetime:
    return datetime.now(UTC)
