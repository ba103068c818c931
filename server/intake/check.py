"""Checks a form against what its timepoint asks, sealed or entered by staff, and places it in its window."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from scoring.library import Library
from server.crypto.envelope import EnvelopeProblem
from server.crypto.fields import PatientCipher
from server.forms.asked import AskedPart, asked_parts
from server.forms.check import CheckedAnswers, check_answers
from server.intake.hold import PROBLEMS, Held, held_for
from server.intake.open import Keys, OpenedForm, OpenedNotice
from server.intake.source import Source, source_of_envelope
from server.models import Clinic, Envelope, GateFetch, Timepoint
from server.queries.clock import clinic_day
from server.queries.facts import baseline_window_state
from server.schedule.plan import AfterSurgery, BeforeSurgery
from server.schedule.window import WindowState, window_state
from server.timepoints.plans import Plans


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


def form_of(timepoint: Timepoint, plans: Plans, library: Library) -> tuple[AskedPart, ...]:
    """What the form of this timepoint asks, as the due sheet lists it. Raises PlanUnusable."""
    return asked_parts(library, plans.entry(timepoint).parts)


def check_form(
    timepoint: Timepoint,
    given: object,
    source: Source,
    cipher: PatientCipher,
    by: CheckedBy,
    *,
    envelope: Envelope | None = None,
) -> CheckedForm:
    """`given` is whatever came in as the form's parts.

    Raises AnswerProblem with every fault when an answer does not fit, PlanUnusable when nobody can tell.
    """
    # A patient east of the clinic is in the next month a few hours before it.
    tomorrow = clinic_day(by.clinic, by.now) + timedelta(days=1)
    answers = check_answers(by.library, form_of(timepoint, by.plans, by.library), given, today=tomorrow)
    answered_on = clinic_day(by.clinic, source.finished_at)
    state = _window_state(timepoint, by.plans.entry(timepoint), answered_on)
    return CheckedForm(timepoint, answers, source, answered_on, state, cipher, envelope)


def check_opened(session: Session, opened: Sequence[OpenedForm], keys: Keys, by: CheckedBy) -> list[CheckedForm | Held]:
    """One result for each opened envelope, in order; two statements for all of them."""
    timepoints, fetches = timepoints_of(session, opened), _fetches(session, opened)
    results: list[CheckedForm | Held] = []
    for each in opened:
        try:
            timepoint = timepoint_of(each, timepoints)
            source = source_of_envelope(
                each.envelope, each.payload, fetches.get((each.envelope.lookup_hash, each.payload.sheet_revision))
            )
            cipher = each.patient_cipher(keys)
            results.append(check_form(timepoint, each.payload.parts, source, cipher, by, envelope=each.envelope))
        except PROBLEMS as problem:
            results.append(held_for(each.envelope, problem, each.payload.form_id))
    return results


def timepoints_of(session: Session, opened: Iterable[OpenedForm | OpenedNotice]) -> Mapping[str, Timepoint]:
    """By the forms that these name, whosever they are."""
    wanted = select(Timepoint).where(Timepoint.form_id.in_({each.payload.form_id for each in opened}))
    return {row.form_id: row for row in session.scalars(wanted.options(joinedload(Timepoint.follow_up)))}


def _fetches(session: Session, opened: Sequence[OpenedForm]) -> Mapping[tuple[bytes, int], datetime]:
    """When each revision of a due sheet was first fetched, by link and revision."""
    wanted = select(GateFetch).where(GateFetch.lookup_hash.in_({each.envelope.lookup_hash for each in opened}))
    return {(row.lookup_hash, row.revision): row.fetched_at for row in session.scalars(wanted)}


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
