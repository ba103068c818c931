"""Forms that a restore may have made look unanswered for good: their window closed after the copy was made, and by the day of the restore.

A phone is not asked for them again, since its sheet holds what is open.
"""

from datetime import date
from typing import NamedTuple

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from server.models import FollowUp, Operation, Patient, Restoration, Shoulder, Timepoint
from server.queries.clock import clinic_day, clinic_now, the_clinic
from server.queries.current import COUNTED, STANDS

_LISTED = (
    select(Patient.study_number, Shoulder.side, Timepoint.code, Timepoint.closes_on)
    .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
    .join(Operation, Operation.id == FollowUp.operation_id)
    .join(Shoulder, Shoulder.id == Operation.shoulder_id)
    .join(Patient, Patient.id == Timepoint.patient_id)
    .where(
        Timepoint.answered_on.is_(None),
        Timepoint.carried_by_id.is_(None),
        Timepoint.historical.is_(False),
        or_(Timepoint.not_expected_on.is_(None), Timepoint.not_expected_on > Timepoint.closes_on),
        COUNTED,
        STANDS,
    )
)


class LostWindow(NamedTuple):
    study_number: str
    side: str
    code: str
    closes_on: date | None  # never None here: it lies between two days


def lost_windows(session: Session, restoration: Restoration, *, offset: int, size: int) -> tuple[int, list[LostWindow]]:
    """How many there are, and some of them, the first that closed leading. What is answered after all is none any more."""
    clinic = the_clinic(session)
    first, last = (
        clinic_day(clinic, clinic_now(clinic, at)) for at in (restoration.backup_made_at, restoration.restored_at)
    )
    found = _LISTED.where(Timepoint.closes_on.between(first, last))
    total = session.scalar(select(func.count()).select_from(found.subquery())) or 0
    ordered = found.order_by(Timepoint.closes_on, Patient.study_number, Timepoint.id)
    return total, [LostWindow(*row) for row in session.execute(ordered.offset(offset).limit(size))]
