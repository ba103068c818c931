"""Forms that were taken at a visit, which no plan asks for, each with the operation in whose course it stands.

That is the last operation done before its day which starts a follow-up, or before all of these the first of them. So what was measured
just before a first operation stands with it, and what was measured just before a revision, or on its very day, with what is revised.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.fields.operation_words import starts_follow_up
from server.models import ClinicFinding, Operation, Response, Score
from server.queries.clock import clinic_day, the_clinic
from server.queries.course import in_course
from server.queries.current import STANDS, VALID_SCORE


@dataclass(frozen=True)
class AtVisit:
    """`finding`: the number of the visit on its shoulder, as in findings.csv; `on`: the day of the form."""

    response: Response
    finding: int
    on: date


def forms_at_visits(session: Session, shoulders: Collection[int]) -> Mapping[int, list[AtVisit]]:
    """By operation, in the order of days. What was entered again or in error counts no longer and is left out."""
    clinic, courses = the_clinic(session), _courses(session, shoulders)
    number = func.row_number().over(partition_by=ClinicFinding.shoulder_id, order_by=ClinicFinding.id)
    visits = select(ClinicFinding.id, ClinicFinding.shoulder_id, ClinicFinding.taken_back_at, number.label("number"))
    visit = visits.where(ClinicFinding.shoulder_id.in_(shoulders)).subquery()
    forms = select(Response, visit.c.shoulder_id, visit.c.number).join(visit, visit.c.id == Response.finding_id)
    standing = forms.where(Response.counted, Response.set_aside_at.is_(None), visit.c.taken_back_at.is_(None))
    found: dict[int, list[AtVisit]] = {}
    for response, shoulder_id, number_of_visit in session.execute(standing.order_by(Response.finished_at, Response.id)):
        on = clinic_day(clinic, response.finished_at)
        operation = _course_of(courses.get(shoulder_id, []), on)
        if operation is not None:
            found.setdefault(operation.id, []).append(AtVisit(response, number_of_visit, on))
    return found


def scores_at_visits(session: Session, forms: Mapping[int, Iterable[AtVisit]]) -> Mapping[int, list[Score]]:
    """By response."""
    wanted = [each.response.id for visits in forms.values() for each in visits]
    found: dict[int, list[Score]] = {}
    for score in session.scalars(select(Score).where(Score.response_id.in_(wanted), VALID_SCORE).order_by(Score.id)):
        found.setdefault(score.response_id, []).append(score)
    return found


def _courses(session: Session, shoulders: Collection[int]) -> Mapping[int, list[Operation]]:
    found: dict[int, list[Operation]] = {}
    for operation in session.scalars(select(Operation).where(STANDS, Operation.shoulder_id.in_(shoulders))):
        found.setdefault(operation.shoulder_id, []).append(operation)
    return found


def _course_of(operations: Sequence[Operation], on: date) -> Operation | None:
    """None on a shoulder without operations. Where none of them starts a follow-up, it goes by all."""
    followed = [each for each in operations if starts_follow_up(each.kind, each.stage)] or operations
    done = [each for day, each in in_course(followed) if day < on]
    return done[-1] if done else next((each for _day, each in in_course(followed)), next(iter(followed), None))
