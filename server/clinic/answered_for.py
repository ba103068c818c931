"""Whose answers they are, put right by a person: it becomes known late that somebody else answers for a patient since some day.

What came since that day was recorded as the patient's own, and nobody can tell from the answers. So a person says it of each. What somebody
else answered stays as it came and gives no score; said otherwise again, it counts as before.
"""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.contradiction import refuse_if
from server.clinic.history import change_row
from server.clinic.misplaced import Act, same_score
from server.models import FieldChange, Patient, Response, Score
from server.models.response import FOR_THE_PATIENT
from server.queries.clock import clinic_day, the_clinic
from server.queries.current import VALID_SCORE
from server.trust.audit import audit

FIELD = "answered_by"


def in_question(session: Session, patient: Patient) -> list[Response]:
    """Forms answered since the patient cannot decide and recorded as the patient's own, and those of which a person said otherwise."""
    since, clinic = patient.capacity_lost_on, the_clinic(session)
    of_patient = select(Response).where(
        Response.patient_id == patient.id, Response.set_aside_at.is_(None), Response.timepoint_id.is_not(None)
    )
    said = set(_said(session, patient))
    return [
        each
        for each in session.scalars(of_patient.order_by(Response.finished_at, Response.id))
        if each.id in said
        or (each.answered_by != FOR_THE_PATIENT and since is not None and clinic_day(clinic, each.finished_at) >= since)
    ]


def answered_for(session: Session, response: Response, act: Act) -> None:
    """Somebody else gave these answers: they give no score from now on."""
    refuse_if(response.answered_by == FOR_THE_PATIENT, "These answers are recorded as somebody else's already.")
    change_row(session, response, {FIELD: FOR_THE_PATIENT}, now=act.now, by_id=act.by_id, why=act.why)
    for score in session.scalars(select(Score).where(Score.response_id == response.id, VALID_SCORE)):
        score.superseded_at = act.now
    audit(session, "response:answered_for", f"response {response.id}", now=act.now, by_id=act.by_id)
    session.flush()


def own_again(session: Session, response: Response, act: Act) -> None:
    """It was a mistake: the answers are whose they were before, and the scores that they gave then are valid again."""
    last = _last_change(session, response)
    if last is None or last.new != FOR_THE_PATIENT:
        refuse_if(True, "Nobody here has said of these answers that somebody else gave them.")
        return
    change_row(session, response, {FIELD: last.old}, now=act.now, by_id=act.by_id, why=act.why)
    gone = select(Score).where(Score.response_id == response.id, Score.superseded_at == last.at)
    for score in session.scalars(gone).all():
        again = same_score(score, response.id, act.now)
        again.superseded_at = None
        session.add(again)
    audit(session, "response:own_again", f"response {response.id}", now=act.now, by_id=act.by_id)
    session.flush()


def _said(session: Session, patient: Patient) -> list[int]:
    """The responses of which a person has said that somebody else gave them, or took it back."""
    changed = select(FieldChange.row_id).where(FieldChange.table_name == "response", FieldChange.field == FIELD)
    return list(session.scalars(select(Response.id).where(Response.patient_id == patient.id, Response.id.in_(changed))))


def _last_change(session: Session, response: Response) -> FieldChange | None:
    changes = select(FieldChange).where(
        FieldChange.table_name == "response", FieldChange.row_id == response.id, FieldChange.field == FIELD
    )
    return session.scalars(changes.order_by(FieldChange.id.desc())).first()
