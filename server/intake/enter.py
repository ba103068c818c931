"""Answers that staff enter: taken by telephone, from paper, or from someone who speaks for the patient.

What may not be sent to a phone may not be asked by a person either: answers to such a text are refused, by the rules on top of
server.queries.texts_in_force. Answers that were given before a decision was withdrawn are still accepted afterwards.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.library import Library
from server.intake.check import CheckedBy, CheckedForm, check_form, kept_timepoint
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


@dataclass(frozen=True)
class FilledIn:
    """One form and its answers, `given` as a phone would send its parts."""

    timepoint: Timepoint
    given: object
    entered: Entered


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
    [response_id] = enter_forms(session, [FilledIn(timepoint, given, entered)], library=library, keys=keys, now=now)
    return response_id


def enter_forms(
    session: Session, filled_in: Sequence[FilledIn], *, library: Library, keys: Keys, now: datetime
) -> list[int]:
    """The same of several, such as all that a binder holds of somebody: the first fault stops all of them.

    A few statements for all, so that a clinic which brings its old series in waits for typing and not for the program.
    """
    clinic, timepoints = the_clinic(session), _as_they_are_now(session, [each.timepoint for each in filled_in])
    by = CheckedBy(library, read_plans(session), clinic, now)
    scored = []
    for each, timepoint in zip(filled_in, timepoints, strict=True):
        patient = session.get_one(Patient, timepoint.patient_id)
        source, cipher = _source(each.entered, now), keys.patient_cipher(patient.handle)
        form = check_form(timepoint, each.given, source, cipher, by, spoken_for_since=spoken_for_since(patient))
        scored.append(score_form(form, library))
    _refuse_what_may_not_be_asked(session, [each.form for each in scored], library)

    recorded = record_responses(session, scored, now=now)
    answered = [each.answered() for each in recorded if each.counted]
    record_answered(session, answered, today=clinic_day(clinic, now), now=now)
    for response in recorded:
        of, source = f"response {response.response_id}", response.form.source
        audit(session, "response:entered", of, now=now, by_id=source.entered_by_id, mode=source.mode)
    return [response.response_id for response in recorded]


def _as_they_are_now(session: Session, timepoints: Sequence[Timepoint]) -> list[Timepoint]:
    """The forms that count, with their records locked: a merge at the same moment would miss answers (see `_senders` in open.py)."""
    patients = {each.patient_id for each in timepoints}
    whose = select(Patient).where(Patient.id.in_(patients)).order_by(Patient.id).with_for_update(read=True)
    again = select(Timepoint).where(Timepoint.id.in_([each.id for each in timepoints]))
    for query in (whose, again):
        session.scalars(query.execution_options(populate_existing=True)).all()
    return [kept_timepoint(session, each) for each in timepoints]


def _source(entered: Entered, now: datetime) -> Source:
    return Source(
        mode=entered.mode,
        answered_by=entered.answered_by,
        language=entered.language,
        finished_at=min(entered.answered_at, now),
        received_at=now,
        entered_by_id=entered.by_id,
    )


def _refuse_what_may_not_be_asked(session: Session, forms: Sequence[CheckedForm], library: Library) -> None:
    """What may be asked now may; of all else it is looked up whether it might when it was."""
    named = {part.text_id for form in forms for part in form.answers.stored.parts}
    rows = session.scalars(select(InstalledText).where(InstalledText.text_id.in_(named)))
    installed, now = {row.text_id: row for row in rows}, read_wording(session, library)
    reasons: dict[str, WhyNotAsked] = {}
    for form in forms:
        if _reasons(form, installed, now):
            reasons |= _reasons(form, installed, read_wording(session, library, asked_at=form.source.finished_at))
    if reasons:
        raise NotToBeAsked(reasons)


def _reasons(form: CheckedForm, installed: Mapping[str, InstalledText], wording: Wording) -> dict[str, WhyNotAsked]:
    parts = form.answers.stored.parts
    checked = {each.text_id: _why_not(each.instrument, each.text_id, installed, wording) for each in parts}
    return {text_id: why for text_id, why in checked.items() if why is not None}


def _why_not(spec: str, text_id: str, installed: Mapping[str, InstalledText], wording: Wording) -> WhyNotAsked | None:
    """None when the clinic may ask this text. A licensed one that was replaced since may have been asked."""
    if text_id in installed:
        return WhyNotAsked.ALTERED if is_altered(installed[text_id]) else None
    definition = wording.library.instrument(spec)
    if definition.status != "usable":
        return WhyNotAsked.NEEDS_LICENCE
    text = next((text for text in wording.library.texts(spec).values() if text["text_id"] == text_id), None)
    if text is None:
        return WhyNotAsked.UNKNOWN
    return WhyNotAsked.UNDECIDED if wording.needs_decision(definition, text) else None
