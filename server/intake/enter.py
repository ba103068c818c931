"""The other door: answers taken by telephone, from paper or from someone who speaks for the patient, entered by staff."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.library import Library
from server.intake.open import Keys
from server.intake.record import Source, check_form, record_forms
from server.models import Patient, Timepoint
from server.models.clock import clinic_day, the_clinic
from server.timepoints.plans import read_plans
from server.trust.audit import audit


@dataclass(frozen=True)
class Entered:
    """How staff got the answers. `answered_at` is when the patient gave them; `mode` is telephone, paper or clinic_tablet."""

    mode: str
    answered_by: str
    language: str
    answered_at: datetime
    by_id: int


def enter_form(
    session: Session,
    timepoint: Timepoint,
    parts: Sequence[dict[str, Any]],
    entered: Entered,
    *,
    library: Library,
    keys: Keys,
    now: datetime,
) -> int:
    """The id of the new response. Raises AnswersNotValid with every fault by item, or PlanUnusable, and writes nothing then."""
    handle = session.scalars(select(Patient.handle).where(Patient.id == timepoint.patient_id)).one()
    source = Source(
        mode=entered.mode,
        answered_by=entered.answered_by,
        language=entered.language,
        finished_at=min(entered.answered_at, now),
        received_at=now,
        entered_by_id=entered.by_id,
    )
    clinic = the_clinic(session)
    cipher = keys.patient_cipher(handle)
    plans = read_plans(session)
    form = check_form(timepoint, parts, source, cipher, library=library, plans=plans, clinic=clinic, now=now)
    response_id = record_forms(session, [form], library=library, today=clinic_day(clinic, now), now=now)[0]
    audit(session, "response:entered", f"response {response_id}", now=now, by_id=entered.by_id, mode=entered.mode)
    return response_id
