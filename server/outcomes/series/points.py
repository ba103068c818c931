"""The planned timepoints of all first operations whose patients take part, with the patients' own answers and their scores.

Of a clinic of many years there are hundreds of thousands. So tables are read side by side and not joined, each day is made once, and how a
timepoint stands is only computed where it does not simply stand as answered or as missed.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from itertools import compress
from operator import itemgetter
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Select, String, and_, cast, func, not_, select
from sqlalchemy import Row as Found
from sqlalchemy.orm import Session

from scoring.text import text_kind
from server.models import FollowUp, Operation, Patient, Response, Score, Shoulder, Timepoint
from server.models.response import FOR_THE_PATIENT
from server.outcomes.series.digest import Digest
from server.outcomes.series.followed import Answer, Point
from server.queries.current import STANDS, VALID_SCORE
from server.queries.facts import STATUS_COLUMNS, facts_of
from server.queries.research import included
from server.schedule.status import ANSWERED, Status, answered_as, status

RECALLED = "recalled"
Lot = tuple[date | None, date | None, float | None]  # cast, drawn, with which probability
Plain = tuple[Any, ...]
_NO_LOT: Lot = (None, None, None)
AnyFound = Found[*tuple[Any, ...]]


class _Days(dict[str, date]):
    """Each day once, by how it is written."""

    def __missing__(self, written: str) -> date:
        day = date.fromisoformat(written)
        self[written] = day
        return day


Scored = tuple[Mapping[str, float], frozenset[str]]  # the scores of a response, and whose words it was asked in


class _Answers(NamedTuple):
    """`stands`: of each timepoint that is not simply answered. `responses`: by the timepoint whose form was answered.

    `scores`: by response.
    """

    stands: Mapping[int, Status]
    lots: Mapping[int, Lot]
    responses: Mapping[int, Plain]
    scores: Mapping[int, Scored]


def read_points(session: Session, as_of: date, digest: Digest) -> Mapping[int, Mapping[str, Point]]:
    """By operation and code. Of several attempts the last one with an answer, or else the last; what was recalled stands apart."""
    follow_ups = {row.id: (row.operation_id, row.readable) for row in session.execute(_follow_ups(as_of))}
    rows = [row for row in _plain(session, _PLANNED) if row[0] in follow_ups]
    digest.take("planned", rows)
    answers, days = _answers(session, as_of, rows, digest), _Days()
    found: dict[int, dict[str, Point]] = defaultdict(dict)
    for row in sorted(rows, key=_ATTEMPT):
        operation_id, readable = follow_ups[row[0]]
        point, points = _point(row, readable, answers, days), found[operation_id]
        told, before = _is_told(point), points.get(point.code)
        if told and point.status == Status.RECALLED:
            points[RECALLED] = point._replace(code=RECALLED)
            points.setdefault(point.code, point._replace(answer=None, by_other=False))
        elif before is None or told or not _is_told(before):
            points[point.code] = point
    return found


def _plain(session: Session, query: Select[*tuple[Any, ...]]) -> Sequence[Plain]:
    """The driver's own rows, which are made in half the time: what they hold is the same in every database."""
    cursor = session.connection().execute(query).cursor
    assert cursor is not None
    return cursor.fetchall()


def _written(day: Any) -> ColumnElement[str]:
    return cast(day, String).label(day.key)


_PLANNED = select(
    Timepoint.follow_up_id, Timepoint.id, Timepoint.code, Timepoint.attempt, _written(Timepoint.opens_on), _written(Timepoint.due_on),
    _written(Timepoint.closes_on), Timepoint.window_state, _written(Timepoint.answered_on),
    # What was answered for the shoulder's other follow-up may count here too.
    func.coalesce(Timepoint.answer_from_id, Timepoint.id).label("answered_at"),
).order_by(Timepoint.id)  # fmt: skip
_ATTEMPT = itemgetter(3)


def _follow_ups(as_of: date) -> Select[*tuple[Any, ...]]:
    query = select(FollowUp.id, FollowUp.operation_id, Patient.erased_at.is_(None).label("readable"))
    query = query.join(Operation, Operation.id == FollowUp.operation_id).join(
        Shoulder, Shoulder.id == Operation.shoulder_id
    )
    query = query.join(Patient, Patient.id == Shoulder.patient_id)
    done = Operation.kind == "index", Operation.surgery_on <= as_of, STANDS
    return query.where(*done, included(Patient.id, as_of, all_patients=False))


def _answers(session: Session, as_of: date, planned: Collection[Plain], digest: Digest) -> _Answers:
    timepoints, answered_at = {row[1] for row in planned}, {row[-1] for row in planned}
    stands = {at: stand for at, stand in _stands(session, as_of) if at in timepoints}
    of_lots = select(Timepoint.id, Timepoint.lot_cast_on, Timepoint.drawn_on, Timepoint.drawing_probability)
    cast = session.execute(of_lots.where(Timepoint.lot_cast_on <= as_of).order_by(Timepoint.id)).all()
    lots = {row.id: _lot(row, as_of) for row in cast if row.id in timepoints}
    query = select(Response.timepoint_id, Response.id, Response.mode, Response.answered_by).where(Response.counted)
    found = _plain(session, query.where(Response.timepoint_id.is_not(None)).order_by(Response.id))
    responses = {row[0]: row for row in found if row[0] in answered_at}
    digest.take("stands", [(at, str(stand)) for at, stand in stands.items()])
    digest.take_written("lots", lots.items())
    digest.take("responses", list(responses.values()))
    return _Answers(stands, lots, responses, _scores(session, [each[1] for each in responses.values()], digest))


def _stands(session: Session, as_of: date) -> list[tuple[int, Status]]:
    """Of each timepoint that is not simply answered, by its number. Who was asked in a window that is over and said nothing is missed,
    by rule 4 of server.schedule.status; those are most of them, and the database tells them apart."""
    answered = and_(
        Timepoint.answered_on.is_not(None), Timepoint.answered_on <= as_of, Timepoint.not_expected_on.is_(None)
    )
    missed = and_(
        Timepoint.answered_on.is_(None), Timepoint.window_state.is_(None), Timepoint.not_expected_on.is_(None),
        Timepoint.closes_on.is_not(None), Timepoint.closes_on < as_of,
        Timepoint.asked_on.is_not(None), Timepoint.asked_on <= Timepoint.closes_on,
    )  # fmt: skip
    found = [(at, Status.MISSED) for (at,) in _plain(session, select(Timepoint.id).where(missed))]
    others = select(Timepoint.id, *STATUS_COLUMNS).where(not_(answered), not_(missed))
    found += [(row.id, _status(row, as_of)) for row in session.execute(others)]
    return sorted(found)


def _lot(row: AnyFound, as_of: date) -> Lot:
    drawn = row.drawn_on is not None and row.drawn_on <= as_of
    return row.lot_cast_on, row.drawn_on if drawn else None, row.drawing_probability if drawn else None


def _scores(session: Session, responses: Sequence[int], digest: Digest) -> Mapping[int, Scored]:
    """Column by column, as the index of scores has them."""
    columns: dict[str, dict[int, float]] = {}
    asked_in: dict[str, set[int]] = {}
    what = Score.instrument, Score.instrument_version, Score.scale, Score.text_id
    for found in session.execute(select(*what).where(VALID_SCORE).distinct().order_by(*what)):
        same = [column == value for column, value in zip(what, found, strict=True)]
        query = select(Score.response_id, Score.value).where(VALID_SCORE, *same)
        values: dict[int, Any] = dict(_plain(session, query))
        asked_in.setdefault(text_kind(found.text_id), set()).update(values)
        if None in values.values():
            values = {response_id: value for response_id, value in values.items() if value is not None}
        columns.setdefault(f"{found.instrument}@{found.instrument_version}/{found.scale}", {}).update(values)
    scores = {scale: list(map(column.get, responses)) for scale, column in columns.items()}
    asked = {kind: list(map(of_it.__contains__, responses)) for kind, of_it in sorted(asked_in.items())}
    for scale, column in scores.items():
        digest.take(scale, column)
    for kind, of_kind in asked.items():
        digest.take(kind, of_kind)
    return _by_response(responses, scores, asked)


def _by_response(
    responses: Sequence[int], scores: Mapping[str, Sequence[float | None]], asked: Mapping[str, Sequence[bool]]
) -> Mapping[int, Scored]:
    """Of columns that each hold something for every response."""
    # One set for each mixture of texts, since hundreds of thousands of answers have the same.
    mixtures = {mixture: frozenset(compress(asked, mixture)) for mixture in set(_side_by_side(asked, responses))}
    found = zip(responses, _side_by_side(scores, responses), _side_by_side(asked, responses), strict=True)
    return {
        response_id: (
            {scale: value for scale, value in zip(scores, of_it, strict=True) if value is not None},
            mixtures[asked_in_it],
        )
        for response_id, of_it, asked_in_it in found
    }


def _side_by_side(columns: Mapping[str, Sequence[Any]], responses: Sequence[int]) -> Iterable[Plain]:
    """Of each response what every column has; nothing where there are no columns."""
    return zip(*columns.values(), strict=True) if columns else [()] * len(responses)


def _point(row: Plain, readable: bool, answers: _Answers, days: _Days) -> Point:
    _follow_up, at, code, _attempt, opens, due, closes, state, on, answered_at = row
    stands, response = answers.stands.get(at), answers.responses.get(answered_at)
    if stands is None:
        stands = answered_as(state)
    answer, by_other, erased = None, False, False
    if stands in ANSWERED:
        erased = response is None or not readable
        if response is not None and readable:
            _at, response_id, mode, answered_by = response
            by_other = answered_by == FOR_THE_PATIENT
            if not by_other:
                answer = Answer(days[on], mode, *answers.scores[response_id])
    closes_on = None if closes is None else days[closes]
    lot = answers.lots.get(at, _NO_LOT)
    return Point(code, days[opens], days[due], closes_on, stands, answer, by_other, erased, *lot)


def _is_told(point: Point) -> bool:
    return point.answer is not None or point.by_other


def _status(row: AnyFound, as_of: date) -> Status:
    facts = facts_of(row)
    if facts.answered_on is not None and facts.answered_on > as_of:
        facts = replace(facts, answered_on=None, answered_state=None)
    return status(facts, as_of)
