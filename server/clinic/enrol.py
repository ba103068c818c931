"""Enrols a patient, and enters later operations. What is kept here was checked here, whoever entered it."""

import re
import secrets
from collections.abc import Callable
from datetime import date, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.clinic.agreed_text import IN_FORCE, AgreedText, Reading, agreed_text
from server.clinic.checks import check_enrolment, check_shoulder
from server.clinic.entries import CONSENT_VERSION, Enrolment, ShoulderEntry
from server.clinic.history import change_row
from server.clinic.majority import of_age_on
from server.clinic.operation_checks import contradictions, first_stage_of
from server.clinic.operations import begin_follow_up, first_free_position
from server.fields.check import Calendar, CheckedEntry, EntryRefused, checked
from server.fields.field import Errors
from server.fields.operation import OPERATION, SHOULDER
from server.fields.person import PERSON
from server.fields.stored import stored_values
from server.models import Clinic, Consent, Operation, Patient, Shoulder
from server.queries.clinic_notices import in_force_on, notice_versions
from server.queries.clock import clinic_to_change
from server.schedule.plan import Plan
from server.trust.audit import audit

_NUMBERED = re.compile(r"Y-([0-9]+)")


def enrol(
    session: Session,
    enrolment: Enrolment,
    *,
    plan: Plan,
    clinic: Clinic,
    new_patient_key: Callable[[str], None],
    now: datetime,
    today: date,
    by_id: int | None,
) -> Patient:
    """The new patient with consents, shoulders, operations and follow-ups. Raises EntryRefused with every error.

    `new_patient_key` makes the key of a handle durable before its row can be committed; a key without a row does no harm.
    """
    # Two enrolments at one time would take the same number: they queue here.
    clinic_to_change(session)
    errors = check_enrolment(enrolment, today=today, session=session)
    if errors:
        raise EntryRefused(errors)
    texts = agreed_texts(session, enrolment, clinic, today)
    person = checked(PERSON, enrolment.person, Calendar(today))
    patient = _new_patient(session, person, clinic, now, by_id)
    new_patient_key(patient.handle)
    # Of a child it may not have been said which parent it was.
    by, name = enrolment.given_by or ("self" if today >= of_age_on(patient, clinic) else None, None)
    given = {"given_on": today, "given_by": by, "given_by_name": name, "taken_by_id": by_id}
    patient.consents = [Consent(kind=kind, **vars(text), **given) for kind, text in texts.items()]
    session.add(patient)
    session.flush()
    audit(session, "patient:enrolled", f"patient {patient.id}", now=now, by_id=by_id, study_number=patient.study_number)
    for entry in enrolment.shoulders:
        _enter(session, patient, entry, plan=plan, now=now, today=today, by_id=by_id)
    return patient


def agreed_texts(session: Session, enrolment: Enrolment, clinic: Clinic, today: date) -> dict[str, AgreedText]:
    """By kind of consent, to which text it is given today; raises EntryRefused, with errors about `notice_research` and its like.

    Of a kind that has no text in force the version is CONSENT_VERSION, unless another was typed.
    """
    found: dict[str, AgreedText] = {}
    errors: Errors = {}
    language = str(enrolment.person["language"])
    for kind in dict.fromkeys(enrolment.consents):
        choice, typed = enrolment.texts.get(kind, (IN_FORCE, None))
        if choice == IN_FORCE and in_force_on(notice_versions(session, kind), kind, today, clinic) is None:
            typed = typed or CONSENT_VERSION
        try:
            reading = Reading(kind, today, language, choice, typed, enrolment.offered.get(kind))
            found[kind] = agreed_text(session, clinic, reading)
        except EntryRefused as problem:
            errors |= {f"{name}_{kind}": said for name, said in problem.errors.items()}
    if errors:
        raise EntryRefused(errors)
    return found


def add_operation(
    session: Session,
    patient: Patient,
    entry: ShoulderEntry,
    *,
    plan: Plan,
    now: datetime,
    today: date,
    by_id: int | None,
) -> Operation:
    """A later operation, on a shoulder known or new. Raises EntryRefused.

    A revision starts a follow-up of its own, beside which those of the earlier operations go on. Another re-operation starts none.
    """
    errors = check_operation(patient, entry, today=today)
    if errors:
        raise EntryRefused(errors)
    return _enter(session, patient, entry, plan=plan, now=now, today=today, by_id=by_id)


def check_operation(patient: Patient, entry: ShoulderEntry, *, today: date) -> Errors:
    """Every error of a later operation, by field with the side: by itself, and in view of the patient and the shoulder's others."""
    errors = check_shoulder(entry, born=patient.birth_on, today=today)
    shoulder = next((each for each in patient.shoulders if each.side == entry.side), None)
    others = list(shoulder.operations) if shoulder else []
    for field, sentences in contradictions(patient, others, entry.values).items():
        known = errors.setdefault(f"{entry.side}_{field}", [])
        known.extend(each for each in sentences if each not in known)
    return errors


def _new_patient(session: Session, person: CheckedEntry, clinic: Clinic, now: datetime, by_id: int | None) -> Patient:
    patient = Patient(**stored_values(PERSON, person), handle=secrets.token_hex(16), made_at=now, made_by_id=by_id)
    patient.birth_year = patient.birth_on.year
    patient.study_number = patient.study_number or next_study_number(session)
    patient.time_zone = patient.time_zone or clinic.time_zone
    return patient


def next_study_number(session: Session) -> str:
    """One more than the highest of the form Y-0001 ever given; four figures, more when they run out."""
    numbered = select(Patient.study_number).where(Patient.study_number.like("Y-%"))
    highest_first = numbered.order_by(func.length(Patient.study_number).desc(), Patient.study_number.desc())
    with session.scalars(highest_first.execution_options(yield_per=20)) as numbers:
        for match in map(_NUMBERED.fullmatch, numbers):
            if match:
                return f"Y-{int(match[1]) + 1:04d}"
    return "Y-0001"


def _enter(
    session: Session,
    patient: Patient,
    entry: ShoulderEntry,
    *,
    plan: Plan,
    now: datetime,
    today: date,
    by_id: int | None,
) -> Operation:
    values = checked((*OPERATION, *SHOULDER), entry.values, Calendar(today, patient.birth_on))
    # What a later operation leaves out stays as it was recorded.
    of_shoulder = {name: value for name, value in stored_values(SHOULDER, values).items() if value is not None}
    shoulder = next((each for each in patient.shoulders if each.side == entry.side), None)
    if shoulder is None:
        shoulder = Shoulder(side=entry.side, **of_shoulder)
        patient.shoulders.append(shoulder)
    else:
        change_row(session, shoulder, of_shoulder, now=now, by_id=by_id)
    first = first_stage_of(values.day("surgery_on"), shoulder.operations) if values["kind"] == "second_stage" else None
    operation = Operation(
        **stored_values(OPERATION, values), position=first_free_position(shoulder), made_at=now, made_by_id=by_id,
        first_stage_id=first.id if first else None,
    )  # fmt: skip
    shoulder.operations.append(operation)
    session.flush()
    what = {"side": entry.side, "kind": operation.kind, "surgery_on": operation.surgery_on}
    audit(session, "operation:entered", f"operation {operation.id}", now=now, by_id=by_id, patient=patient.id, **what)
    begin_follow_up(session, operation, plan, now=now, today=today)
    return operation
