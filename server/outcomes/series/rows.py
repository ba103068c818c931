"""One read of the database: the operations that coverage counts, each with what a series needs to know of it."""

from collections.abc import Collection, Mapping
from datetime import date
from typing import Any

from sqlalchemy import Row as Found
from sqlalchemy import Select, and_, func, not_, select
from sqlalchemy.orm import Session

from scoring.text import text_kind
from server.fields.operation import OPERATION
from server.models import Component, FollowUp, Operation, OperationLog, Patient, Response, Score, Shoulder, Timepoint
from server.models.response import FOR_THE_PATIENT
from server.outcomes.series.row import Form, Record, Row
from server.outcomes.series.sentence import NOT_RECORDED
from server.queries.coverage import Line, read_lines
from server.queries.current import VALID_SCORE
from server.queries.facts import STATUS_COLUMNS, status_of
from server.queries.research import research_consents
from server.schedule.status import Status
from server.schedule.timepoint_code import BEFORE_SURGERY

TENDONS = ("supraspinatus", "infraspinatus", "subscapularis", "teres_minor")
# The state of a cuff is that of its worst tendon. One that was asked about and not found out hides what would make it worse.
WORST_FIRST = ("full_tear", "partial_tear", "repaired", "thinned", "unknown", "intact")
_GLENOID_TYPES = next(field.words for field in OPERATION if field.name == "glenoid_type")
_STANDS_ANSWERED = and_(Timepoint.answered_on.is_not(None), Timepoint.not_expected_on.is_(None))
AnyFound = Found[*tuple[Any, ...]]


def read_record(session: Session, as_of: date, *, texts: bool = False) -> Record:
    """Every operation of the log that was done by that day. `texts`: also whose words forms were asked in, which takes long to read."""
    lines = read_lines(session, since=date.min, until=as_of)[::-1]
    consents = research_consents(session, as_of)
    told = _told(session)
    models = _models(session)
    forms = _forms(session, as_of, _texts(session) if texts else None)
    births = {row.id: row.birth_year for row in session.execute(select(OperationLog.id, OperationLog.birth_year))}
    rows = []
    for line in lines:
        if line.operation_id is None:
            rows.append(
                Row(**_as_the_log(line, births.get(line.line_id)), line_id=line.line_id, not_enrolled=line.reason)
            )
            continue
        found, consent = told[line.operation_id], consents.get(line.patient_id or 0, "none")
        known: dict[str, Any] = {**_as_the_log(line, found.birth_year), "kind": found.kind, "consent": consent}
        if consent == "given":
            known |= _recorded(found, models.get(line.operation_id, ()), forms.get(line.operation_id, ()))
        rows.append(Row(**known, operation_id=line.operation_id, patient_id=line.patient_id))
    return Record(as_of, tuple(rows), texts)


def _as_the_log(line: Line, birth_year: int | None) -> dict[str, Any]:
    return {
        "surgery_on": line.surgery_on,
        "kind": None,
        "procedure": line.procedure or NOT_RECORDED,
        "implant_type": line.implant_type or NOT_RECORDED,
        "side": line.side,
        "surgeon": line.surgeon or NOT_RECORDED,
        "age": None if birth_year is None else line.surgery_on.year - birth_year,
    }


def _recorded(found: AnyFound, models: Collection[str], forms: Collection[Form]) -> dict[str, Any]:
    """Of somebody whose consent to research stands."""
    glenoid = found.glenoid_type
    return {
        "study_number": found.study_number,
        "model": tuple(models) or (NOT_RECORDED,),
        "diagnosis": found.diagnosis or NOT_RECORDED,
        "cuff": _cuff([getattr(found, f"cuff_{tendon}") for tendon in TENDONS]),
        "glenoid": NOT_RECORDED if not glenoid else glenoid if glenoid in _GLENOID_TYPES else "other",
        "dominant": found.dominant or NOT_RECORDED,
        "sex": found.sex,
        "certainty": found.certainty or NOT_RECORDED,
        "forms": tuple(forms),
    }


def _cuff(states: Collection[str | None]) -> str:
    return next((state for state in WORST_FIRST if state in states), NOT_RECORDED)


def _told(session: Session) -> dict[int, AnyFound]:
    query = select(
        Operation.id, Operation.kind, Operation.diagnosis, Operation.glenoid_type, Operation.certainty,
        *(getattr(Operation, f"cuff_{tendon}") for tendon in TENDONS),
        Shoulder.dominant, Patient.sex, Patient.birth_year, Patient.study_number,
    )  # fmt: skip
    query = query.join(Shoulder, Shoulder.id == Operation.shoulder_id).join(Patient, Patient.id == Shoulder.patient_id)
    return {row.id: row for row in session.execute(query)}


def _models(session: Session) -> dict[int, list[str]]:
    """The models that were put in at each operation, each once."""
    found: dict[int, list[str]] = {}
    query = select(Component.put_in_id, Component.model).where(
        Component.struck_at.is_(None), Component.model.is_not(None)
    )
    for row in session.execute(query.distinct().order_by(Component.put_in_id, Component.model)):
        found.setdefault(row.put_in_id, []).append(row.model)
    return found


def _forms(session: Session, as_of: date, texts: Mapping[int, frozenset[str]] | None) -> dict[int, list[Form]]:
    """By operation, its forms after surgery: each kind of answer, and where there is none of the patient's own every timepoint.

    A timepoint that was answered and never ended stands as answered on every day (rule 2 of server.schedule.status). Those are by far
    most, and the database tells them apart; how each of the others stands is computed.
    """
    found: dict[int, list[Form]] = {}
    which = (FollowUp.operation_id, Response.mode, Response.answered_by, Patient.erased_at.is_(None).label("readable"))
    kinds = _after_surgery(select(*which, *(() if texts is None else (Response.id,)))).where(_STANDS_ANSWERED)
    for row in session.execute(kinds.distinct()):
        asked_in = frozenset() if texts is None else texts.get(row.id, frozenset())
        answered = Form(Status.ANSWERED, row.mode, row.answered_by, asked_in, bool(row.readable))
        found.setdefault(row.operation_id, []).append(answered)
    own = _after_surgery(select(FollowUp.operation_id)).where(
        _STANDS_ANSWERED, Response.answered_by != FOR_THE_PATIENT, Patient.erased_at.is_(None)
    )
    others = _after_surgery(select(*which, Response.id, *STATUS_COLUMNS))
    for row in session.execute(others.where(not_(_STANDS_ANSWERED), FollowUp.operation_id.not_in(own))):
        asked_in = frozenset() if texts is None else texts.get(row.id, frozenset())
        form = Form(status_of(row, as_of), row.mode, row.answered_by, asked_in, bool(row.readable))
        found.setdefault(row.operation_id, []).append(form)
    return found


def _after_surgery(query: Select[*tuple[Any, ...]]) -> Select[*tuple[Any, ...]]:
    """Timepoints after surgery with their answers. What was answered for the shoulder's other follow-up may count here too."""
    answered = Response.timepoint_id == func.coalesce(Timepoint.answer_from_id, Timepoint.id)
    query = query.select_from(Timepoint).join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
    query = query.join(Patient, Patient.id == Timepoint.patient_id).outerjoin(Response, answered & Response.counted)
    return query.where(Timepoint.code != str(BEFORE_SURGERY))


def _texts(session: Session) -> dict[int, frozenset[str]]:
    """Whose words each response was asked in, by its scores."""
    found: dict[int, set[str]] = {}
    for response_id, text_id in session.execute(select(Score.response_id, Score.text_id).where(VALID_SCORE).distinct()):
        found.setdefault(response_id, set()).add(text_kind(text_id))
    return {response_id: frozenset(kinds) for response_id, kinds in found.items()}
