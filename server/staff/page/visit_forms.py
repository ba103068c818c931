"""The forms that were taken at a visit, with their totals, for the pages of the visit and of the patient."""

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import ClinicFinding, Response, Score
from server.queries.clock import clinic_day, the_clinic
from server.staff.page import words

CONSTANT = "constant@1"
TOTAL = ("constant", "total")


@dataclass(frozen=True)
class VisitForm:
    """`total` is empty where there is none, with `why`; `counted` is False for one that was entered again or in error.

    `day` has no hour: none was asked.
    """

    response_id: int
    day: str
    total: str
    why: str
    counted: bool


def visit_forms(session: Session, finding: ClinicFinding) -> list[VisitForm]:
    """The newest first."""
    query = (
        select(Response.id, Response.finished_at, Response.counted, Score.value, Score.reason)
        .join(Score, Score.response_id == Response.id)
        .where(
            Response.finding_id == finding.id,
            Score.superseded_at.is_(None),
            Score.instrument == TOTAL[0],
            Score.scale == TOTAL[1],
        )
        .order_by(Response.id.desc())
    )
    return [
        VisitForm(
            response_id=row.id,
            day=words.day(clinic_day(the_clinic(session), row.finished_at)),
            total="" if row.value is None else words.number(round(row.value, 1)),
            why=row.reason or "",
            counted=row.counted,
        )
        for row in session.execute(query)
    ]


def totals_of(session: Session, patient_id: int) -> dict[int, float]:
    """The total that counts of each visit of a patient, by the visit's id."""
    query = (
        select(Response.finding_id, Score.value)
        .join(Score, Score.response_id == Response.id)
        .where(
            Response.patient_id == patient_id,
            Response.finding_id.is_not(None),
            Response.counted,
            Score.superseded_at.is_(None),
            Score.instrument == TOTAL[0],
            Score.scale == TOTAL[1],
            Score.value.is_not(None),
        )
    )
    return {row.finding_id: row.value for row in session.execute(query)}
