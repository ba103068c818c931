"""An operation that a patient reported in an answer: how far the form of a new operation is filled with what they said."""

from flask import abort
from sqlalchemy.orm import Session

from server.clinic.contact import flags_settled_together
from server.clinic.reported_events import when_operated
from server.crypto.fields import FieldProblem
from server.fields.field import named
from server.fields.operation import OPERATION
from server.fields.stored import exactly
from server.forms.stored import StoredAnswersProblem, open_answers
from server.models import Flag, Patient, Response
from server.queries.clock import clinic_day, the_clinic
from server.staff.page.request_context import runtime
from server.trust.keys import KeyMissing

KIND = "operated_elsewhere"
WHERE = "/1b"  # of the item in which the patient names the clinic


def said_in(session: Session, patient: Patient, flag_id: str) -> dict[str, str]:
    """What the inputs show: elsewhere, how it is known, when and where as the patient says. 404 for another patient's flag."""
    flag = session.get(Flag, int(flag_id)) if flag_id.isdecimal() and len(flag_id) < 19 else None
    if flag is None or flag.patient_id != patient.id or flag.kind != KIND:
        abort(404)
    together = flags_settled_together(session, flag) if flag.settled_at is None else [flag]
    where = next((each.detail for each in together if each.detail and (each.item or "").endswith(WHERE)), "")
    known = {
        "place": "elsewhere",
        "certainty": "reported",
        "place_name": where[: named(OPERATION, "place_name").longest],
    }
    response = session.get(Response, flag.response_id) if flag.response_id else None
    if response is None:
        return known
    by = "relative" if response.answered_by == "someone_else" else "patient"
    return {**known, "known_by": by, "surgery_on": _day(session, patient, response)}


def _day(session: Session, patient: Patient, response: Response) -> str:
    """As exactly as the form asked; empty where the answers cannot be opened, which their own page says."""
    try:
        answers = open_answers(response.answers, runtime().keys.patient_cipher(patient.handle))
    except (KeyMissing, FieldProblem, StoredAnswersProblem):
        return ""
    said = when_operated(answers, clinic_day(the_clinic(session), response.finished_at))
    return exactly(*said) if said else ""
