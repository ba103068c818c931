"""What a patient said that stops messages until a person has settled it.

A death, and the wish to be left alone, come from whoever holds the phone: nobody knows yet whether it is so. Until staff enter it
or undo it nothing more goes out. The same while such a notice is held, as one that came by an old link is, since the phone has said so
there too. Nothing is let go meanwhile either, so that reminders go on where they were if it was a mistake.
"""

from typing import Any

from sqlalchemy import BindParameter, ColumnElement, CompoundSelect, Integer, Select, bindparam, func, select, text
from sqlalchemy.orm import InstrumentedAttribute, Session

from server.models import Envelope, Flag, Link, Patient

PAUSING = ("said_died", "asked_to_stop")  # the graver first
# By the link of a duplicate speaks the patient of the kept record.
of_link = func.coalesce(Patient.merged_into_id, Patient.id)


def is_paused(patient_id: InstrumentedAttribute[int]) -> ColumnElement[bool]:
    """Over a column of patients' ids."""
    return patient_id.in_(paused_patients())


def paused_patients() -> CompoundSelect[int]:
    """The ids of all of them; they are few."""
    said = select(Flag.patient_id).where(Flag.kind.in_(PAUSING), Flag.settled_at.is_(None))
    return said.union(_held(of_link))


def _held(of_each: ColumnElement[Any] | InstrumentedAttribute[Any]) -> Select[tuple[Any]]:
    """Of pausing notices that are held, or were put back and are read with the next pass."""
    # SQLite takes a partial index only where the query repeats its predicate, in constants.
    waiting = text("envelope.state IN ('received', 'held')")
    notices = select(of_each).join_from(Envelope, Link, Link.lookup_hash == Envelope.lookup_hash)
    notices = notices.join(Patient, Patient.id == Link.patient_id)
    return notices.where(waiting, Envelope.held_notice.in_(PAUSING))


_BY: BindParameter[int] = bindparam("patient", type_=Integer)
_SAID_BY = (
    select(Flag.kind)
    .where(Flag.patient_id == _BY, Flag.kind.in_(PAUSING), Flag.settled_at.is_(None))
    .union(_held(Envelope.held_notice).where(of_link == _BY))
)


def pause_of(session: Session, patient_id: int) -> str | None:
    """The kind of flag for which no message goes to this patient now; None when one may."""
    found = set(session.scalars(_SAID_BY, {"patient": patient_id}))
    return next((kind for kind in PAUSING if kind in found), None)
