"""What a patient said that stops messages until a person has settled it.

A death, and the wish to be left alone, come from whoever holds the phone: nobody knows yet whether it is so. Until staff enter it
or undo it nothing more goes out. Nothing is let go meanwhile either, so that reminders go on where they were if it was a mistake.
"""

from sqlalchemy import ColumnElement, exists, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from server.models import Flag

PAUSING = ("said_died", "asked_to_stop")  # the graver first


def is_paused(patient_id: InstrumentedAttribute[int]) -> ColumnElement[bool]:
    """Over a column of patients' ids."""
    said = select(Flag.id).where(Flag.patient_id == patient_id, Flag.kind.in_(PAUSING), Flag.settled_at.is_(None))
    return exists(said)


def pause_of(session: Session, patient_id: int) -> str | None:
    """The kind of flag for which no message goes to this patient now; None when one may."""
    said = select(Flag.kind).where(Flag.patient_id == patient_id, Flag.kind.in_(PAUSING), Flag.settled_at.is_(None))
    found = set(session.scalars(said))
    return next((kind for kind in PAUSING if kind in found), None)
