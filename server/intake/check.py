"""Checks a form against what its timepoint asks, sealed or entered by staff, and places it in its window."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, joinedload

from scoring.answers import Problems
from scoring.library import Library
from server.crypto.envelope import EnvelopeProblem
from server.crypto.fields import PatientCipher
from server.forms.asked import AskedPart, asked_parts
from server.forms.check import CheckedAnswers, check_answers
from server.intake.fetches import Fetches, read_fetches
from server.intake.hold import PROBLEMS, Held, held_for
from server.intake.open import Keys, OpenedForm, OpenedNotice
from server.intake.source import Source, source_of_envelope, who_answered
from server.models import Clinic, Envelope, Timepoint
from server.queries.clock import clinic_day
from server.queries.facts import baseline_window_state
from server.queries.texts_sent import OwnLanguages, Shown, TextsSent, read_own_languages, read_texts_sent
from server.schedule.plan import AfterSurgery, BeforeSurgery
from server.schedule.preference import PREFERENCE, with_preference
from server.schedule.timepoint_code import TimepointCode
from server.schedule.window import WindowState, window_state
from server.timepoints.plans import Plans

_NAMED = (  # asked after each post, and so put together once
    select(Timepoint)
    .where(Timepoint.form_id.in_(bindparam("forms", expanding=True)))
    .options(joinedload(Timepoint.follow_up))
)


@dataclass(frozen=True)
class CheckedBy:
    """What the forms of one transaction are checked by."""

    library: Library
    plans: Plans
    clinic: Clinic
    now: datetime


@dataclass(frozen=True)
class CheckedForm:
    """A form whose answers fit. `envelope` is None when staff entered it; `cipher` is the patient's."""

    timepoint: Timepoint
    answers: CheckedAnswers
    source: Source
    answered_on: date
    window_state: WindowState
    cipher: PatientCipher
    envelope: Envelope | None = None


def form_of(timepoint: Timepoint, plans: Plans, library: Library, given: object = None) -> tuple[AskedPart, ...]:
    """What the form of this timepoint asks: what its plan names, and in a yearly one the preferred shoulder where `given` answers it.

    A phone may hold a sheet from before an operation was entered or corrected, so that whether it was asked is told by the answer, and
    not worked out anew. Raises PlanUnusable.
    """
    parts = plans.entry(timepoint).parts
    documents = given if isinstance(given, list) else []
    answered = any(isinstance(each, dict) and each.get("instrument") == PREFERENCE.instrument for each in documents)
    yearly = TimepointCode.parse(timepoint.code).year is not None
    return asked_parts(library, with_preference(parts) if answered and yearly else parts)


def check_form(
    timepoint: Timepoint,
    given: object,
    source: Source,
    cipher: PatientCipher,
    by: CheckedBy,
    *,
    envelope: Envelope | None = None,
    spoken_for_since: date | None = None,
) -> CheckedForm:
    """`given` is whatever came in as the form's parts; `spoken_for_since`: from when a representative answers.

    Raises AnswerProblem with every fault when an answer does not fit, PlanUnusable when nobody can tell.
    """
    answered_on = clinic_day(by.clinic, source.finished_at)
    source = replace(source, answered_by=who_answered(source.answered_by, answered_on, spoken_for_since))
    # A patient east of the clinic is in the next month a few hours before it.
    tomorrow = clinic_day(by.clinic, by.now) + timedelta(days=1)
    answers = check_answers(by.library, form_of(timepoint, by.plans, by.library, given), given, today=tomorrow)
    state = _window_state(timepoint, by.plans.entry(timepoint), answered_on)
    return CheckedForm(timepoint, answers, source, answered_on, state, cipher, envelope)


@dataclass(frozen=True)
class _Known:
    """What the forms of one batch are held against, read at once."""

    timepoints: Mapping[str, Timepoint]
    fetches: Fetches
    texts: TextsSent
    languages: OwnLanguages


def check_opened(session: Session, opened: Sequence[OpenedForm], keys: Keys, by: CheckedBy) -> list[CheckedForm | Held]:
    """One result for each opened envelope, in order; a few statements for all of them."""
    if not opened:
        return []
    known = _Known(
        timepoints_of(session, opened),
        read_fetches(session, opened),
        read_texts_sent(session, by.library),
        read_own_languages(session, {each.sender.patient_id for each in opened}),
    )
    results: list[CheckedForm | Held] = []
    for each in opened:
        try:
            results.append(_check_one(each, known, keys, by))
        except PROBLEMS as problem:
            results.append(held_for(each.envelope, problem, each.payload.form_id))
    return results


def _check_one(opened: OpenedForm, known: _Known, keys: Keys, by: CheckedBy) -> CheckedForm | Held:
    timepoint = timepoint_of(opened, known.timepoints)
    source = source_of_envelope(opened.envelope, opened.payload, known.fetches.earliest(opened))
    sender, begin = opened.sender, known.fetches.first(opened)
    cipher, spoken_for, parts = opened.patient_cipher(keys), sender.spoken_for_since, opened.payload.parts
    form = check_form(timepoint, parts, source, cipher, by, envelope=opened.envelope, spoken_for_since=spoken_for)
    languages = known.languages.since(begin, sender.patient_id, sender.language)
    shown = Shown(languages, begin, opened.envelope.received_at)
    never_sent = _never_sent(form, known.texts, shown)
    if never_sent:
        return Held(opened.envelope, "text_not_sent", json.dumps(never_sent), opened.payload.form_id)
    return form


def _never_sent(form: CheckedForm, texts: TextsSent, shown: Shown) -> Problems:
    """By instrument, and for the form as a whole, words or a language that this clinic cannot have sent."""
    problems: Problems = {
        part.instrument: ["names a text that was not sent"]
        for part in form.answers.stored.parts
        if not texts.may_be(part.instrument, part.text_id, shown)
    }
    if not texts.may_be_in(form.source.language, shown):
        problems["language"] = ["is not offered"]
    return problems


def timepoints_of(session: Session, opened: Iterable[OpenedForm | OpenedNotice]) -> Mapping[str, Timepoint]:
    """By the forms that these name, whosever they are; a form of a duplicate stands for the same one of the kept record."""
    named = list({each.payload.form_id for each in opened})
    found = {row.form_id: row for row in session.scalars(_NAMED, {"forms": named})}
    return {form_id: kept_timepoint(session, row) for form_id, row in found.items()}


def kept_timepoint(session: Session, row: Timepoint) -> Timepoint:
    """Of a duplicate's form the same one of the kept record."""
    while row.same_as_id is not None:
        row = session.get_one(Timepoint, row.same_as_id)
    return row


def timepoint_of(opened: OpenedForm | OpenedNotice, timepoints: Mapping[str, Timepoint]) -> Timepoint:
    """The timepoint of the form that it names. Raises EnvelopeProblem when that is none of this patient's."""
    timepoint = timepoints.get(opened.payload.form_id or "")
    if timepoint is None or timepoint.patient_id != opened.sender.patient_id:
        raise EnvelopeProblem("unknown_form")
    return timepoint


def _window_state(timepoint: Timepoint, entry: BeforeSurgery | AfterSurgery, answered_on: date) -> WindowState:
    if isinstance(entry, BeforeSurgery):
        return baseline_window_state(timepoint.follow_up.operation, answered_on, entry.early_over_days)
    return window_state(
        answered_on,
        opens_on=timepoint.opens_on,
        closes_on=timepoint.closes_on,
        not_expected_on=timepoint.not_expected_on,
    )
