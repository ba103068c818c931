"""Records a checked form: the response, its scores, what a person should look at, and the timepoint's transition.

Both doors end here: a sealed envelope and answers entered by staff.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import exists, insert, select
from sqlalchemy.orm import Session

from scoring.library import Library
from scoring.parts import check_parts, score_parts, split_identifying
from scoring.plan_parts import part_items
from scoring.score import ScaleScore
from server.crypto.encoding import compact_json
from server.crypto.fields import PatientCipher
from server.intake.payload import AnswersNotValid
from server.models import Clinic, Flag, Response, Score, Timepoint
from server.models.clock import clinic_day
from server.schedule.plan import BeforeSurgery
from server.schedule.window import WindowState, baseline_state, window_state
from server.timepoints.plans import entry_of
from server.timepoints.record import mark_answered

ANSWERS_CONTEXT = "response.answers"
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


def expected_parts(timepoint: Timepoint, library: Library) -> list[dict[str, Any]]:
    """The parts of this timepoint's form, as the due sheet lists them."""
    entry = entry_of(timepoint)
    return [
        {"instrument": part.instrument, "items": list(part_items(library.instrument(part.instrument), part.items))}
        for part in entry.parts
    ]


def record_form(
    session: Session,
    timepoint: Timepoint,
    parts: Sequence[dict[str, Any]],
    source: Source,
    *,
    library: Library,
    clinic: Clinic,
    cipher: PatientCipher,
    now: datetime,
) -> int:
    """The id of the new response. Raises AnswersNotValid and writes nothing when an answer does not fit."""
    today = clinic_day(clinic, now)
    problems = check_parts(library, expected_parts(timepoint, library), parts, today=today)
    if problems:
        raise AnswersNotValid(problems)
    kept, identifying = split_identifying(library, parts)
    scores = score_parts(library, kept)
    answered_on = clinic_day(clinic, source.finished_at)
    state = _window_state(timepoint, answered_on)
    counted = not session.scalar(select(exists().where(Response.timepoint_id == timepoint.id, Response.counted)))
    response_id = _insert_response(session, timepoint, kept, source, state, counted, cipher, now)
    _insert_scores(session, response_id, kept, scores, now)
    _raise_flags(session, timepoint, response_id, kept, identifying, library, now)
    if counted:
        mark_answered(
            session,
            timepoint,
            answered_at=source.finished_at,
            answered_on=answered_on,
            window_state=state,
            today=today,
            now=now,
            by_id=source.entered_by_id,
        )
    return response_id


def _window_state(timepoint: Timepoint, answered_on: date) -> WindowState:
    entry = entry_of(timepoint)
    if not isinstance(entry, BeforeSurgery):
        return window_state(
            answered_on,
            opens_on=timepoint.opens_on,
            closes_on=timepoint.closes_on,
            not_expected_on=timepoint.not_expected_on,
        )
    operation = timepoint.follow_up.operation
    surgery_on = operation.surgery_on or operation.surgery_planned_on
    return baseline_state(answered_on, surgery_on=surgery_on, early_over_days=entry.early_over_days)


def _insert_response(
    session: Session,
    timepoint: Timepoint,
    kept: list[dict[str, Any]],
    source: Source,
    state: WindowState,
    counted: bool,
    cipher: PatientCipher,
    now: datetime,
) -> int:
    values = {
        **source.__dict__,
        "timepoint_id": timepoint.id,
        "patient_id": timepoint.patient_id,
        "counted": counted,
        "recorded_at": now,
        "window_state": str(state),
        "answers": cipher.seal(compact_json(kept), ANSWERS_CONTEXT),
    }
    return session.execute(insert(Response).values(values).returning(Response.id)).scalar_one()


def _insert_scores(
    session: Session, response_id: int, kept: list[dict[str, Any]], scores: list[ScaleScore], now: datetime
) -> None:
    texts = {part["instrument"]: part["text_id"] for part in kept}
    rows = [
        {
            "response_id": response_id,
            "instrument": each.instrument,
            "instrument_version": each.version,
            "text_id": texts[f"{each.instrument}@{each.version}"],
            "scale": each.scale,
            "value": each.value,
            "status": each.status,
            "reason": each.reason,
            "answered": each.answered,
            "items": each.items,
            "method": each.method,
            "scoring_version": each.scoring_version,
            "scored_at": now,
        }
        for each in scores
    ]
    if rows:
        session.execute(insert(Score), rows)


def _raise_flags(
    session: Session,
    timepoint: Timepoint,
    response_id: int,
    kept: list[dict[str, Any]],
    identifying: list[tuple[str, str, str]],
    library: Library,
    now: datetime,
) -> None:
    found: list[tuple[str, str, str | None]] = []
    for spec, item, value in identifying:
        definition = library.instrument(spec)
        condition = definition.by_item[item].asked_if
        kind, _code = LOOK_AT.get((definition.id, condition.item if condition else ""), ("contact_change", 1))
        found.append((kind, f"{spec}/{item}", value))
    for part in kept:
        definition = library.instrument(part["instrument"])
        for name, answer in part["answers"].items():
            if answer["state"] != "answered":
                continue
            if answer.get("value") in definition.by_item[name].warning:
                found.append(("safety_answer", f"{definition.spec}/{name}", None))
            kind, code = LOOK_AT.get((definition.id, name), ("", None))
            if kind and answer.get("value") == code:
                found.append((kind, f"{definition.spec}/{name}", None))
    session.add_all(
        Flag(
            kind=kind,
            patient_id=timepoint.patient_id,
            timepoint_id=timepoint.id,
            response_id=response_id,
            item=item,
            detail=detail,
            raised_at=now,
        )
        for kind, item, detail in found
    )
