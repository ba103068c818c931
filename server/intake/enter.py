"""The other door: answers taken by telephone, from paper or from someone who speaks for the patient, entered by staff.

What may not be sent to a phone may not be asked by a person either: answers to such a text are refused, by the rules on top of
server.queries.texts_in_force. Answers that were given while a decision stood are taken also after it was withdrawn.
"""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.library import Library
from server.forms.stored import StoredAnswers
from server.intake.check import CheckedBy, check_form
from server.intake.open import Keys
from server.intake.responses import record_responses
from server.intake.score_form import score_form
from server.intake.source import Source
from server.models import InstalledText, Patient, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.queries.texts_in_force import Wording, is_altered, read_wording
from server.timepoints.plans import read_plans
from server.timepoints.record import mark_answered
from server.trust.audit import audit


@dataclass(frozen=True)
class Entered:
    """How staff got the answers. `answered_at` is when the patient gave them; `mode` is telephone, paper or clinic_tablet."""

    mode: str
    answered_by: str
    language: str
    answered_at: datetime
    by_id: int


class NotToBeAsked(ValueError):
    """Answers to a text that this clinic may not ask; the message says which, why and what to do. Nothing was recorded."""


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
    clinic = the_clinic(session)
    handle = session.scalars(select(Patient.handle).where(Patient.id == timepoint.patient_id)).one()
    source, cipher = _source(entered, now), keys.patient_cipher(handle)

    form = check_form(timepoint, given, source, cipher, CheckedBy(library, read_plans(session), clinic, now))
    wording = read_wording(session, library, asked_at=source.finished_at)
    _refuse_what_may_not_be_asked(session, form.answers.stored, wording)
    [recorded] = record_responses(session, [score_form(form, library)], now=now)
    mark_answered(session, [form.answered()] if recorded.counted else [], today=clinic_day(clinic, now), now=now)

    response_id = recorded.response_id
    audit(session, "response:entered", f"response {response_id}", now=now, by_id=entered.by_id, mode=entered.mode)
    return response_id


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
    problems = [
        f"{part.text_id} {why}"
        for part in answers.parts
        if (why := _why_not(session, part.instrument, part.text_id, wording))
    ]
    if problems:
        raise NotToBeAsked(
            f"These answers are not recorded, because they are to texts that this clinic may not ask: {'; '.join(problems)}. "
            "Nothing was changed. A data manager looks at the page Texts; afterwards the answers can be entered again."
        )


def _why_not(session: Session, spec: str, text_id: str, wording: Wording) -> str:
    """Why the clinic may not ask this text, in words; empty when it may. A licensed text that was replaced may have been asked."""
    installed = session.get(InstalledText, text_id)
    if installed is not None:
        return "is no longer in the words that were installed" if is_altered(installed) else ""
    definition = wording.library.instrument(spec)
    if definition.status != "usable":
        return "belongs to an instrument that cannot be asked without a licensed text"
    text = next((text for text in wording.library.texts(spec).values() if text["text_id"] == text_id), None)
    if text is None:
        return "is no text of this clinic"
    return "is a descriptive text that nobody has decided to ask" if wording.needs_decision(definition, text) else ""
