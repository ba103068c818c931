"""Writes the rows of scored forms: response, scores, flags. One statement for each table, however many forms."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import BindParameter, bindparam, select
from sqlalchemy.orm import Session

from server.forms.stored import StoredAnswers, seal_answers
from server.intake.check import CheckedForm
from server.intake.score_form import ScoredForm
from server.models import Flag, FollowUp, Operation, Response, Score, Shoulder, Timepoint
from server.queries.current import mark_sheets_stale
from server.store.bulk import insert_rows, insert_rows_with_ids
from server.timepoints.transitions import Answered

# Asked after each post, and so put together once.
_TIMEPOINTS: BindParameter[list[int]] = bindparam("timepoints", expanding=True)
_COUNTED = select(Response.timepoint_id).where(Response.timepoint_id.in_(_TIMEPOINTS), Response.counted)
_SIDES = (
    select(Timepoint.id, Shoulder.side)
    .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
    .join(Operation, Operation.id == FollowUp.operation_id)
    .join(Shoulder, Shoulder.id == Operation.shoulder_id)
    .where(Timepoint.id.in_(_TIMEPOINTS))
)
OPERATED_AGAIN = ("since", "1")  # instrument and item of the project's own form; 1 is yes


@dataclass(frozen=True)
class Recorded:
    """A form that is now a response. Of several for one timepoint the first is `counted`."""

    form: CheckedForm
    response_id: int
    counted: bool

    def answered(self) -> Answered:
        """What the timepoint is told."""
        form = self.form
        finished_at, by_id = form.source.finished_at, form.source.entered_by_id
        return Answered(form.timepoint, finished_at, form.answered_on, form.window_state, by_id)


def record_responses(session: Session, scored: Sequence[ScoredForm], *, now: datetime) -> list[Recorded]:
    """In order. Marks the due sheets of these patients as stale, so that a server killed now publishes them later."""
    if not scored:
        return []
    forms = [each.form for each in scored]
    counted = _counted(session, [form.timepoint.id for form in forms])
    sides = _sides(session, [form.timepoint.id for form in forms])
    rows = [
        {**_response_row(form, counts, now), "asked_side": sides[form.timepoint.id]}
        for form, counts in zip(forms, counted, strict=True)
    ]
    ids = insert_rows_with_ids(session, Response, rows)
    recorded = [Recorded(*each) for each in zip(forms, ids, counted, strict=True)]
    insert_rows(session, Score, [row for pair in zip(scored, ids, strict=True) for row in _score_rows(*pair, now)])
    insert_rows(session, Flag, [row for pair in zip(scored, ids, strict=True) for row in _flag_rows(*pair, now)])
    mark_sheets_stale(session, {form.timepoint.patient_id for form in forms})
    return recorded


def _counted(session: Session, timepoint_ids: Sequence[int]) -> list[bool]:
    """For each form whether it is the first of its timepoint."""
    before = set(session.scalars(_COUNTED, {"timepoints": timepoint_ids}))
    return [each not in before and each not in timepoint_ids[:place] for place, each in enumerate(timepoint_ids)]


def _sides(session: Session, timepoint_ids: Sequence[int]) -> dict[int, str]:
    """The shoulder that each form named. A form that named another, since an operation was moved, has another id by now."""
    return {row.id: row.side for row in session.execute(_SIDES, {"timepoints": timepoint_ids})}


def _response_row(form: CheckedForm, counted: bool, now: datetime) -> dict[str, Any]:
    return {
        **form.source.__dict__,
        "timepoint_id": form.timepoint.id,
        "patient_id": form.timepoint.patient_id,
        "counted": counted,
        "recorded_at": now,
        "window_state": str(form.window_state),
        "operated_again": operated_again(form.answers.stored),
        "answers": seal_answers(form.answers.stored, form.cipher),
    }


def operated_again(answers: StoredAnswers) -> bool | None:
    """What was answered to "operated again on this shoulder?"; None where it was not asked or not answered."""
    for part in answers.parts:
        answer = part.answers.get(OPERATED_AGAIN[1]) if part.instrument.split("@")[0] == OPERATED_AGAIN[0] else None
        if answer is not None and answer.state == "answered":
            return answer.value == 1
    return None


def _score_rows(scored: ScoredForm, response_id: int, now: datetime) -> list[dict[str, Any]]:
    return [{**score._asdict(), "response_id": response_id, "scored_at": now} for score in scored.scores]


def _flag_rows(scored: ScoredForm, response_id: int, now: datetime) -> list[dict[str, Any]]:
    of_this = {
        "patient_id": scored.form.timepoint.patient_id,
        "timepoint_id": scored.form.timepoint.id,
        "response_id": response_id,
        "raised_at": now,
    }
    return [{"kind": flag.kind, "item": flag.item, "detail": flag.detail, **of_this} for flag in scored.flags]
