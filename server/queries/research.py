"""Whose consent to research stands on a day. Whoever's does not is in no file and no figure but as a count."""

from collections.abc import Collection
from datetime import date
from typing import Any

from sqlalchemy import or_, select, true
from sqlalchemy.orm import Session

from server.models import ClinicNotice, Consent

ON_PAPER = "on_paper"


def _given(as_of: date, kind: str = "research") -> tuple[Any, ...]:
    return Consent.kind == kind, Consent.set_aside_at.is_(None), Consent.given_on <= as_of


def stands(as_of: date, kind: str = "research") -> tuple[Any, ...]:
    """Over Consent: agreed to research, or to another kind, by that day, and not withdrawn on or before it."""
    return *_given(as_of, kind), or_(Consent.withdrawn_on.is_(None), Consent.withdrawn_on > as_of)


def included(patient_id: Any, as_of: date, all_patients: bool) -> Any:
    """The condition, over a column of patient ids, that the patient is exported."""
    return true() if all_patients else patient_id.in_(select(Consent.patient_id).where(*stands(as_of)))


def research_consents(session: Session, as_of: date, patients: Collection[int] | None = None) -> dict[int, str]:
    """`given` or `withdrawn`, of these patients or of all; who was never asked, or said no, is left out."""
    asked = select(Consent.patient_id).where(*_given(as_of))
    if patients is not None:
        asked = asked.where(Consent.patient_id.in_(patients))
    standing = set(session.scalars(asked.where(*stands(as_of))))
    return {each: "given" if each in standing else "withdrawn" for each in session.scalars(asked)}


def research_texts(session: Session, as_of: date, patients: Collection[int]) -> dict[int, str]:
    """Of those whose consent stands, the version of the clinic's text to which the newest was given; ON_PAPER where it has none here."""
    given = (
        select(Consent.patient_id, ClinicNotice.version)
        .join(ClinicNotice, Consent.notice_id == ClinicNotice.id, isouter=True)
        .where(*stands(as_of), Consent.patient_id.in_(patients))
        .order_by(Consent.given_on, Consent.id)
    )
    return {row.patient_id: row.version or ON_PAPER for row in session.execute(given)}
