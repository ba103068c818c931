"""Forms that are taken at a visit, which no plan asks for: their patient's part and the measured part, entered by staff.

A form whose structure is not confirmed cannot be sent to anybody; an examiner may enter it here, and it stays marked as unverified. The
two parts make one form only when they lie within 30 days; else each is kept alone, and a total needs both.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from scoring.definition import Definition
from scoring.library import Library
from server.forms.asked import AskedPart
from server.forms.check import check_answers
from server.forms.stored import StoredAnswers, open_answers, seal_answers
from server.intake.open import Keys
from server.intake.scores import scores_of
from server.models import Clinic, ClinicFinding, Patient, Response, Score, Shoulder
from server.queries.clock import clinic_day, the_clinic
from server.schedule.dates import local_instant
from server.trust.audit import audit

AT_VISITS = ("constant@1",)
WITHIN = timedelta(days=30)
MIDDAY = time(12, 0)
EXAMINER = "examiner"


@dataclass(frozen=True)
class Taken:
    """`values`: item to what was answered or measured; an item left out was not reached. `answered_on`: the patient's part."""

    spec: str
    values: Mapping[str, int]
    answered_on: date
    language: str
    by_id: int


def enter_at_visit(
    session: Session, finding: ClinicFinding, taken: Taken, *, library: Library, keys: Keys, now: datetime
) -> list[int]:
    """The ids of the new responses: one, or two where the parts lie too far apart. What was entered at this visit before counts no longer.

    Raises AnswerProblem with every fault by item, and writes nothing then.
    """
    if taken.spec not in AT_VISITS:
        raise ValueError(f"{taken.spec} is not taken at visits")
    definition, clinic = library.instrument(taken.spec), the_clinic(session)
    patient = session.get_one(Patient, session.get_one(Shoulder, finding.shoulder_id).patient_id)
    cipher = keys.patient_cipher(patient.handle)
    checked = [(_checked(library, definition, taken, items), on) for items, on in _forms(definition, taken, finding)]
    before = update(Response).where(Response.finding_id == finding.id, Response.counted).values(counted=False)
    session.execute(before)
    made = []
    for answers, on in checked:
        response = _response(finding, patient, taken, seal_answers(answers, cipher), _noon(on, clinic, now), now)
        session.add(response)
        session.flush()
        session.add_all(
            Score(response_id=response.id, scored_at=now, **row._asdict()) for row in scores_of(answers, library)
        )
        made.append(response.id)
        audit(session, "response:entered", f"response {response.id}", now=now, by_id=taken.by_id, mode="clinic")
    session.flush()
    return made


def taken_before(session: Session, finding: ClinicFinding, keys: Keys, by_id: int) -> Taken | None:
    """What was taken at this visit and counts, as it was entered: to be put together anew by another day. None for nothing.

    LookupError, FieldProblem or StoredAnswersProblem where the answers cannot be read.
    """
    counted = select(Response).where(Response.finding_id == finding.id, Response.counted).order_by(Response.id)
    responses = session.scalars(counted).all()
    if not responses:
        return None
    patient = session.get_one(Patient, responses[0].patient_id)
    cipher, values = keys.patient_cipher(patient.handle), dict[str, int]()
    for response in responses:
        for part in open_answers(response.answers, cipher).parts:
            values |= {name: each.value for name, each in part.answers.items() if isinstance(each.value, int)}
    first = responses[0]  # the patient's part is entered first
    told_on = first.told_on or clinic_day(the_clinic(session), first.finished_at)
    return Taken(AT_VISITS[0], values, told_on, first.language, by_id)


def _forms(definition: Definition, taken: Taken, finding: ClinicFinding) -> list[tuple[set[str], date]]:
    """Which items make one form, and on which day."""
    measured = {item.item for item in definition.items if item.found_by == EXAMINER}
    told = {item.item for item in definition.items} - measured
    if abs(finding.examined_on - taken.answered_on) <= WITHIN:
        return [(told | measured, finding.examined_on)]
    parts = [(told, taken.answered_on), (measured, finding.examined_on)]
    return [(items, on) for items, on in parts if items & set(taken.values)]


def _checked(library: Library, definition: Definition, taken: Taken, items: set[str]) -> StoredAnswers:
    """Raises AnswerProblem."""
    names = tuple(item.item for item in definition.items)
    text = library.texts(taken.spec)
    given: dict[str, Any] = {
        "instrument": taken.spec,
        "text_id": (text.get(taken.language) or text["en"])["text_id"],
        "answers": {
            name: {"state": "answered", "value": taken.values[name]}
            if name in items and name in taken.values
            else {"state": "not_reached"}
            for name in names
        },
    }
    return check_answers(library, (AskedPart(taken.spec, names),), [given]).stored


def _noon(on: date, clinic: Clinic, now: datetime) -> datetime:
    return now if on == clinic_day(clinic, now) else local_instant(on, MIDDAY, clinic.time_zone)


def _response(
    finding: ClinicFinding, patient: Patient, taken: Taken, answers: bytes, finished_at: datetime, now: datetime
) -> Response:
    return Response(
        finding_id=finding.id,
        patient_id=patient.id,
        entered_by_id=taken.by_id,
        counted=True,
        mode="clinic",
        answered_by="patient_with_help",
        language=taken.language,
        told_on=taken.answered_on,
        finished_at=finished_at,
        received_at=now,
        recorded_at=now,
        window_state="off_schedule",
        answers=answers,
    )
