"""Answers that staff enter: taken by telephone, from paper, or from someone who speaks for the patient.

What may not be sent to a phone may not be asked by a person either: answers to such a text are refused, by the rules on top of
server.queries.texts_in_force. Answers that were given before a decision was withdrawn are still accepted afterwards.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from sqlalchemy.orm import Session

from scoring.library import Library
from server.forms.stored import StoredAnswers
from server.intake.check import CheckedBy, check_form, kept_timepoint
from server.intake.open import Keys
from server.intake.responses import record_responses
from server.intake.score_form import score_form
from server.intake.source import Source
from server.models import InstalledText, Patient, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.queries.facts import spoken_for_since
from server.queries.texts_in_force import Wording, is_altered, read_wording
from server.timepoints.clocks import record_answered
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


class WhyNotAsked(StrEnum):
    ALTERED = "altered"  # no longer the words that were installed
    UNKNOWN = "unknown"  # no text of this clinic
    NEEDS_LICENCE = "needs_licence"  # its instrument cannot be asked without a licensed text
    UNDECIDED = "undecided"  # a descriptive text that nobody has decided to ask


class NotToBeAsked(ValueError):
    """Answers to texts that this clinic may not ask, each with the reason by its id. Nothing was recorded."""

    def __init__(self, reasons: Mapping[str, WhyNotAsked]) -> None:
        super().__init__(", ".join(f"{text_id}: {why}" for text_id, why in reasons.items()))
        self.reasons = reasons


def enter_form(
    session: Session,
    timepoint: Timepoint,
    given: object,
    entered: Entered,
    *,
    library: Library,
    keys: Keys,
    now: datetime,
) -> int:
    """The id of the new response.

    Raises AnswerProblem with every fault by item, NotToBeAsked or PlanUnusable, and writes nothing then.
    """
    clinic, timepoint = the_clinic(session), _as_it_is_now(session, timepoint)
    patient = session.get_one(Patient, timepoint.patient_id)
    source, cipher = _source(entered, now), keys.patient_cipher(patient.handle)

    by = CheckedBy(library, read_plans(session), clinic, now)
    form = check_form(timepoint, given, source, cipher, by, spoken_for_since=spoken_for_since(patient))
    wording = read_wording(session, library, asked_at=source.finished_at)
    _refuse_what_may_not_be_asked(session, form.answers.stored, wording)
    [recorded] = record_responses(session, [score_form(form, library)], now=now)
    answered = [recorded.answered()] if recorded.counted else []
    record_answered(session, answered, today=clinic_day(clinic, now), now=now)

    response_id = recorded.response_id
    audit(session, "response:entered", f"response {response_id}", now=now, by_id=entered.by_id, mode=entered.mode)
    return response_id


def _as_it_is_now(session: Session, timepoint: Timepoint) -> Timepoint:
    """The form that counts, with its record locked: a merge at the same moment would miss the answers (see `_senders` in open.py)."""
    session.get_one(Patient, timepoint.patient_id, with_for_update={"read": True}, populate_existing=True)
    session.refresh(timepoint)
    return kept_timepoint(session, timepoint)


def _source(entered: Entered, now: datetime) -> Source:
    return Source(
        mode=entered.mode,
        answered_by=entered.answered_by,
        language=entered.language,
        finished_at=min(entered.answered_at, now),
        received_at=now,
        entered_by_id=entered.by_id,
    )


def _refuse_what_may_not_be_asked(session: Session, answers: StoredAnswers, wording: Wording) -> None:
    checked = {part.text_id: _why_not(session, part.instrument, part.text_id, wording) for part in answers.parts}
    reasons = {text_id: why for text_id, why in checked.items() if why is not None}
    if reasons:
        raise NotToBeAsked(reasons)


def _why_not(session: Session, spec: str, text_id: str, wording: Wording) -> WhyNotAsked | None:
    """None when the clinic may ask this text. A licensed one that was replaced since may have been asked."""
    installed = session.get(InstalledText, text_id)
    if installed is not None:
        return WhyNotAsked.ALTERED if is_altered(installed) else None
    definition = wording.library.instrument(spec)
    if definition.status != "usable":
        return WhyNotAsked.NEEDS_LICENCE
    text = next((text for text in wording.library.texts(spec).values() if text["text_id"] == text_id), None)
    if text is None:
        return WhyNotAsked.UNKNOWN
    return WhyNotAsked.UNDECIDED if wording.needs_decision(definition, text) else None
