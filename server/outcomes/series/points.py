"""The planned timepoints of all first operations whose patients take part, with the patients' own answers and their scores."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from sqlalchemy import Row as Found
from sqlalchemy import Select, and_, func, select
from sqlalchemy.orm import Session

from scoring.text import text_kind
from server.models import FollowUp, Operation, Patient, Response, Score, Timepoint
from server.models.response import FOR_THE_PATIENT
from server.outcomes.series.digest import Digest
from server.outcomes.series.followed import Answer, Point
from server.queries.current import VALID_SCORE
from server.queries.facts import STATUS_COLUMNS, facts_of
from server.queries.research import included
from server.schedule.status import ANSWERED, Status, status

RECALLED = "recalled"
AnyFound = Found[*tuple[Any, ...]]
_COLUMNS = (
    FollowUp.operation_id, Timepoint.code, Timepoint.attempt, Response.id.label("response_id"), Response.mode, Response.answered_by,
    Patient.erased_at.is_(None).label("readable"),
    Timepoint.lot_cast_on, Timepoint.drawn_on, Timepoint.drawing_probability, *STATUS_COLUMNS,
)  # fmt: skip


def read_points(session: Session, as_of: date, digest: Digest) -> Mapping[int, Mapping[str, Point]]:
    """By operation and code. Of several attempts the last one with an answer, or else the last; what was recalled stands apart."""
    rows = session.execute(_planned(as_of)).all()
    for name, column in zip([column.name for column in _COLUMNS], zip(*rows, strict=True), strict=False):
        digest.take(name, column)
    scores, texts = _scores(session, {row.response_id for row in rows}, digest)
    found: dict[int, dict[str, Point]] = defaultdict(dict)
    answered: set[tuple[int, str]] = set()
    for row in rows:
        point, points = _point(row, as_of, scores, texts), found[row.operation_id]
        told = point.answer is not None or point.by_other
        if told and point.status == Status.RECALLED:
            points[RECALLED] = point._replace(code=RECALLED)
            points.setdefault(row.code, point._replace(answer=None, by_other=False))
        elif told or (row.operation_id, row.code) not in answered:
            points[row.code] = point
            if told:
                answered.add((row.operation_id, row.code))
    return found


def _planned(as_of: date) -> Select[*tuple[Any, ...]]:
    """What was answered for the shoulder's other follow-up may count here too."""
    answered = Response.timepoint_id == func.coalesce(Timepoint.answer_from_id, Timepoint.id)
    query = select(*_COLUMNS).select_from(Timepoint).join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
    query = query.join(Operation, and_(Operation.id == FollowUp.operation_id, Operation.kind == "index"))
    query = query.join(Patient, Patient.id == Timepoint.patient_id).outerjoin(Response, answered & Response.counted)
    done = Operation.surgery_on <= as_of, Operation.taken_back_at.is_(None)
    query = query.where(*done, included(Timepoint.patient_id, as_of, all_patients=False))
    return query.order_by(FollowUp.operation_id, Timepoint.code, Timepoint.attempt, Timepoint.id)


def _scores(
    session: Session, responses: set[int | None], digest: Digest
) -> tuple[Mapping[int, dict[str, float]], Mapping[int, frozenset[str]]]:
    """By response: its scores, and whose words it was asked in."""
    query = select(
        Score.response_id, Score.instrument, Score.instrument_version, Score.scale, Score.text_id, Score.value
    ).where(VALID_SCORE)
    scores: dict[int, dict[str, float]] = defaultdict(dict)
    texts: dict[int, set[str]] = defaultdict(set)
    rows = [row for row in session.execute(query.order_by(Score.id)) if row.response_id in responses]
    for row in rows:
        texts[row.response_id].add(text_kind(row.text_id))
        if row.value is not None:
            scores[row.response_id][f"{row.instrument}@{row.instrument_version}/{row.scale}"] = row.value
    for name in ("response_id", "instrument", "instrument_version", "scale", "text_id"):
        digest.take(name, (getattr(row, name) for row in rows))
    digest.take_numbers("value", (row.value for row in rows))
    return scores, {response_id: frozenset(kinds) for response_id, kinds in texts.items()}


def _point(
    row: AnyFound, as_of: date, scores: Mapping[int, Mapping[str, float]], texts: Mapping[int, frozenset[str]]
) -> Point:
    stands, answer, by_other, erased = _status(row, as_of), None, False, False
    if stands in ANSWERED:
        erased = row.response_id is None or not row.readable
        by_other = not erased and row.answered_by == FOR_THE_PATIENT
        if not erased and not by_other:
            asked_in = texts.get(row.response_id, frozenset())
            answer = Answer(row.answered_on, row.mode, scores.get(row.response_id, {}), asked_in)
    cast = row.lot_cast_on is not None and row.lot_cast_on <= as_of
    drawn = cast and row.drawn_on is not None and row.drawn_on <= as_of
    return Point(
        row.code, row.opens_on, row.due_on, row.closes_on, stands, answer, by_other, erased,
        row.lot_cast_on if cast else None, row.drawn_on if drawn else None, row.drawing_probability if drawn else None,
    )  # fmt: skip


def _status(row: AnyFound, as_of: date) -> Status:
    facts = facts_of(row)
    if facts.answered_on is not None and facts.answered_on > as_of:
        facts = replace(facts, answered_on=None, answered_state=None)
    return status(facts, as_of)
