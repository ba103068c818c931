"""What people with both shoulders operated on answered to which one they prefer. Opens the answers of these people and of nobody else."""

from collections import defaultdict
from collections.abc import Callable, Collection, Mapping
from datetime import date

from sqlalchemy import ColumnElement, and_, or_, select
from sqlalchemy.orm import Session

from scoring.text import text_kind
from server.crypto.fields import FieldProblem, PatientCipher
from server.forms.stored import StoredAnswersProblem, open_answers
from server.models import Patient, Response, Score, Timepoint
from server.models.response import FOR_THE_PATIENT
from server.outcomes.series.preference import Told
from server.outcomes.series.sentence import Sentence
from server.queries.current import VALID_SCORE
from server.schedule.preference import ITEM, PREFERS


def read_preferences(
    session: Session,
    cipher_of: Callable[[str], PatientCipher],
    patients: Collection[int],
    as_of: date,
    sentence: Sentence,
) -> Mapping[int, Told]:
    """By patient, the latest answer by that day, of the patient's own. `cipher_of` raises LookupError where there is no key.

    Of the same forms as every other figure: in the way and the words that the sentence wants, and not of whom the random quarter drew.
    Forms are opened from the latest one back, up to the first in which the question was answered.
    """
    if not patients:
        return {}
    query = (
        select(Response.patient_id, Response.answers, Timepoint.answered_on, Patient.handle, Patient.erased_at)
        .join(Timepoint, Timepoint.id == Response.timepoint_id)
        .join(Patient, Patient.id == Response.patient_id)
        .where(Response.counted, Response.answered_by != FOR_THE_PATIENT, Response.patient_id.in_(patients))
        .where(Timepoint.code.like("year-%"), Timepoint.answered_on <= as_of)
        .where(or_(Patient.erased_at.is_not(None), _wanted(session, sentence)))
        .order_by(Timepoint.answered_on.desc(), Response.id.desc())
    )
    forms: dict[int, list[tuple[bytes, date | None, str, bool]]] = defaultdict(list)
    for patient_id, answers, on, handle, erased_at in session.execute(query):
        forms[patient_id].append((answers, on, handle, erased_at is not None))
    found = {patient_id: _told(of_one, cipher_of) for patient_id, of_one in forms.items()}
    return {patient_id: told for patient_id, told in found.items() if told is not None}


def _wanted(session: Session, sentence: Sentence) -> ColumnElement[bool]:
    wanted: list[ColumnElement[bool]] = [
        or_(Timepoint.drawn_on.is_(None), Timepoint.drawn_on > Timepoint.answered_on),
    ]
    if sentence.mode:
        wanted.append(Response.mode.in_(sentence.mode))
    if sentence.text:
        texts = session.scalars(select(Score.text_id).where(VALID_SCORE).distinct())
        asked_in = Score.text_id.in_([text_id for text_id in texts if text_kind(text_id) in sentence.text])
        wanted.append(Response.id.in_(select(Score.response_id).where(VALID_SCORE, asked_in)))
    return and_(*wanted)


def _told(forms: list[tuple[bytes, date | None, str, bool]], cipher_of: Callable[[str], PatientCipher]) -> Told | None:
    """None where no form asked it."""
    open_one: Told | None = None
    for sealed, on, handle, erased in forms:
        if erased:
            return Told(None, None, readable=False)
        try:
            answers = open_answers(sealed, cipher_of(handle))
        except (LookupError, FieldProblem, StoredAnswersProblem):
            return open_one or Told(None, None, readable=False)
        for part in answers.parts:
            if part.instrument.partition("@")[0] == "preference" and ITEM in part.answers:
                value = part.answers[ITEM].value
                if isinstance(value, int) and value in PREFERS:
                    return Told(on, PREFERS[value])
                open_one = open_one or Told(on, None)
    return open_one
