"""Records a checked form: the response, its scores, what a person should look at, and the timepoint's transition.

Both doors end here: a sealed envelope and answers entered by staff.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.answers import AnswerProblem
from scoring.library import Library
from server.crypto.fields import PatientCipher
from server.forms.asked import AskedPart, asked_parts
from server.forms.check import CheckedAnswers, check_answers
from server.forms.stored import seal_answers
from server.intake.payload import AnswersNotValid
from server.intake.scores import scores_of
from server.models import Clinic, Flag, Response, Score, Timepoint
from server.queries.clock import clinic_day
from server.queries.facts import baseline_window_state
from server.schedule.plan import AfterSurgery, BeforeSurgery
from server.schedule.window import WindowState, window_state
from server.store.bulk import insert_rows, insert_rows_with_ids
from server.timepoints.plans import Plans
from server.timepoints.record import Answered, mark_answered

# Answers of the project's own form that a person must follow up: item -> kind of flag, and the code that raises it.
LOOK_AT = {("since", "1"): ("operated_elsewhere", 1), ("since", "6"): ("contact_change", 1)}


@dataclass(frozen=True)
class Source:
    """Where a form came from: exactly one of `envelope_id` and `entered_by_id`. Instants are clamped already."""

    mode: str
    answered_by: str
    language: str
    finished_at: datetime
    received_at: datetime
    envelope_id: int | None = None
    entered_by_id: int | None = None
    opened_at: datetime | None = None
    phone_finished_at: datetime | None = None
    utc_offset_minutes: int | None = None
    time_zone: str | None = None
    clock_skew_ms: int | None = None
    build: str | None = None
    device: str | None = None


def expected_parts(timepoint: Timepoint, plans: Plans, library: Library) -> tuple[AskedPart, ...]:
    """The parts of this timepoint's form, as the due sheet lists them. Raises PlanUnusable."""
    return asked_parts(library, plans.entry(timepoint).parts)


@dataclass(frozen=True)
class Filled:
    """A form whose answers fit."""

    timepoint: Timepoint
    answers: CheckedAnswers
    source: Source
    answered_on: date
    window_state: WindowState
    cipher: PatientCipher


def check_form(
    timepoint: Timepoint,
    given: object,
    source: Source,
    cipher: PatientCipher,
    *,
    library: Library,
    plans: Plans,
    clinic: Clinic,
    now: datetime,
) -> Filled:
    """Raises AnswersNotValid with every fault when an answer does not fit, PlanUnusable when nobody can tell."""
    # A patient east of the clinic is in the next month a few hours before it.
    tomorrow = clinic_day(clinic, now) + timedelta(days=1)
    try:
        answers = check_answers(library, expected_parts(timepoint, plans, library), given, today=tomorrow)
    except AnswerProblem as problem:
        raise AnswersNotValid(problem.problems) from problem
    answered_on = clinic_day(clinic, source.finished_at)
    state = _window_state(timepoint, plans.entry(timepoint), answered_on)
    return Filled(timepoint, answers, source, answered_on, state, cipher)


def _window_state(timepoint: Timepoint, entry: BeforeSurgery | AfterSurgery, answered_on: date) -> WindowState:
    if not isinstance(entry, BeforeSurgery):
        return window_state(
            answered_on,
            opens_on=timepoint.opens_on,
            closes_on=timepoint.closes_on,
            not_expected_on=timepoint.not_expected_on,
        )
    return baseline_window_state(timepoint.follow_up.operation, answered_on, entry.early_over_days)


def record_forms(
    session: Session, forms: Sequence[Filled], *, library: Library, today: date, now: datetime
) -> list[int]:
    """The ids of the new responses, in order. Of several for one form the first counts; one statement for each table."""
    if not forms:
        return []
    taken = _already_counted(session, [form.timepoint.id for form in forms])
    counted = []
    for form in forms:
        counted.append(form.timepoint.id not in taken)
        taken.add(form.timepoint.id)
    rows = [_response_row(form, counts, now) for form, counts in zip(forms, counted, strict=True)]
    ids = insert_rows_with_ids(session, Response, rows)
    scores = [
        row
        for form, response_id in zip(forms, ids, strict=True)
        for row in _score_rows(form, response_id, library, now)
    ]
    flags = [
        row for form, response_id in zip(forms, ids, strict=True) for row in _flag_rows(form, response_id, library, now)
    ]
    insert_rows(session, Score, scores)
    insert_rows(session, Flag, flags)
    answers = [
        Answered(
            form.timepoint, form.source.finished_at, form.answered_on, form.window_state, form.source.entered_by_id
        )
        for form, counts in zip(forms, counted, strict=True)
        if counts
    ]
    mark_answered(session, answers, today=today, now=now)
    return ids


def _already_counted(session: Session, timepoint_ids: Sequence[int]) -> set[int]:
    counted = select(Response.timepoint_id).where(Response.timepoint_id.in_(timepoint_ids), Response.counted)
    return set(session.scalars(counted))


def _response_row(form: Filled, counted: bool, now: datetime) -> dict[str, Any]:
    return {
        **form.source.__dict__,
        "timepoint_id": form.timepoint.id,
        "patient_id": form.timepoint.patient_id,
        "counted": counted,
        "recorded_at": now,
        "window_state": str(form.window_state),
        "answers": seal_answers(form.answers.stored, form.cipher),
    }


def _score_rows(form: Filled, response_id: int, library: Library, now: datetime) -> list[dict[str, Any]]:
    of_this = {"response_id": response_id, "scored_at": now}
    return [{**stated._asdict(), **of_this} for stated in scores_of(form.answers.stored, library)]


def _flag_rows(form: Filled, response_id: int, library: Library, now: datetime) -> list[dict[str, Any]]:
    found = [*_identifying_flags(form, library), *_answer_flags(form, library)]
    return [
        {
            "kind": kind,
            "patient_id": form.timepoint.patient_id,
            "timepoint_id": form.timepoint.id,
            "response_id": response_id,
            "item": item,
            "detail": detail,
            "raised_at": now,
        }
        for kind, item, detail in found
    ]


def _identifying_flags(form: Filled, library: Library) -> Iterator[tuple[str, str, str | None]]:
    """What the patient typed goes to a contact task, never to the response."""
    for given in form.answers.identifying:
        definition = library.instrument(given.instrument)
        condition = definition.by_item[given.item].asked_if
        kind, _code = LOOK_AT.get((definition.id, condition.item if condition else ""), ("contact_change", 1))
        yield kind, f"{given.instrument}/{given.item}", given.value


def _answer_flags(form: Filled, library: Library) -> Iterator[tuple[str, str, str | None]]:
    for part in form.answers.stored.parts:
        definition = library.instrument(part.instrument)
        for name, answer in part.answers.items():
            if answer.state != "answered":
                continue
            if answer.value in definition.by_item[name].warning:
                yield "safety_answer", f"{definition.spec}/{name}", None
            kind, code = LOOK_AT.get((definition.id, name), ("", None))
            if kind and answer.value == code:
                yield kind, f"{definition.spec}/{name}", None
