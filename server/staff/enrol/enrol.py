"""Enrolling a patient: one page, few required fields, everything typed stays when something is not right."""

from collections.abc import Mapping

from flask import Response, make_response, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.enrol import Enrolment, EnrolmentProblem, check_enrolment, enrol, possible_duplicates, read_enrolment
from server.links.make import find_live_link, live_link
from server.links.publish import publish_sheet
from server.models import Patient
from server.models.operation import CUFF_STATES, DIAGNOSES
from server.models.patient import SEXES
from server.queries.clock import the_clinic
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.patient_link import shown_link
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.unusable_plans import no_new_follow_up
from server.texts.decision import what_waits
from server.timepoints.plans import PlanUnusable, read_plans

LABELS = {
    "first_name": "First name",
    "last_name": "Last name",
    "birth_on": "Birth date",
    "study_number": "Study number",
    "channel_order": "Way of contact",
    "shoulders": "Shoulder",
    "email": "E-mail",
    "phone": "Telephone",
    "language": "Language",
    "address": "Address",
    "second_contact": "Second contact person",
    "time_zone": "Time zone",
    "sex": "Sex",
    "plan": "Follow-up plan",
}
SIDE_LABELS = {
    "kind": "kind",
    "surgery_on": "done on",
    "surgery_planned_on": "planned for",
    "implant_type": "implant type",
    "diagnosis": "diagnosis",
    "bmi": "BMI",
    "asa": "ASA class",
}
# The folded part of a shoulder: field, label, longest text.
TEXTS = (
    ("diagnosis_stage", "Stage", 40),
    ("earlier_surgery", "Earlier surgery on this shoulder", 200),
    ("implant_model", "Implant model", 80),
    ("implant_size", "Size", 40),
    ("implant_lot", "Lot", 60),
    ("fixation", "Fixation", 40),
    ("glenoid_type", "Glenoid type", 20),
    ("glenoid_wear", "Glenoid wear", 40),
    ("glenoid_treatment", "Glenoid treatment", 40),
    ("subscapularis_handling", "Subscapularis handling", 40),
    ("smoking", "Smoking", 20),
)
CUFF = ("supraspinatus", "infraspinatus", "subscapularis", "teres_minor")


def enrol_page() -> str:
    return _render({"language": request_context().languages[0], "channel_order": "email"}, {})


def enrol_post() -> Response | AnyResponse:
    enrolment, errors = read_enrolment(request.form, today=request_context().today)
    if enrolment is None:
        return _not_right(errors)
    with reading() as session:
        errors = check_enrolment(enrolment, today=request_context().today, session=session)
        if errors:
            return _not_right(errors)
        alike = possible_duplicates(session, enrolment)
        if alike and not request.form.get("not_a_duplicate"):
            return make_response(_render(request.form, {}, alike=alike), 422)
    try:
        with writing() as session:
            patient_id = _keep(session, enrolment)
    except EnrolmentProblem as problem:
        return _not_right(problem.errors)
    except PlanUnusable as problem:
        return _not_right({"plan": [no_new_follow_up(problem)]})
    return redirect(url_for("staff.enrolled", patient_id=patient_id, done="enrolled"))


def enrolled(patient_id: int) -> str | AnyResponse:
    """Right after: the link large, to be scanned at once or printed."""
    with reading() as session:
        patient = session.get(Patient, patient_id)
        link = shown_link(find_live_link(session, patient)) if patient else None
        if patient is None or link is None:
            return redirect(url_for("staff.patient", patient_id=patient_id))
        waiting = what_waits(session, runtime().library, request_context().today)
        return render_template("staff/enrol/enrolled.html", patient=patient, link=link, waiting=waiting)


def _keep(session: Session, enrolment: Enrolment) -> int:
    machine = runtime()
    patient = enrol(
        session,
        enrolment,
        plan=read_plans(session).named(request_context().default_plan),
        clinic=the_clinic(session),
        new_patient_key=machine.keys.new_patient_key,
        now=request_context().now,
        today=request_context().today,
        by_id=signed_in().id,
    )
    live_link(session, patient, now=request_context().now)
    publish_sheet(session, patient, library=machine.library, now=request_context().now, today=request_context().today)
    return patient.id


def _not_right(errors: Mapping[str, list[str]]) -> Response:
    return make_response(_render(request.form, errors), 422)


def _render(values: Mapping[str, str], errors: Mapping[str, list[str]], *, alike: list[Patient] | None = None) -> str:
    labels = dict(LABELS)
    for side in ("left", "right"):
        for name in (*SIDE_LABELS, *(text[0] for text in TEXTS)):
            labels[f"{side}_{name}"] = f"{side.capitalize()} shoulder, {SIDE_LABELS.get(name, words.plain(name))}"
    return render_template(
        "staff/enrol/enrol.html",
        values=values,
        errors=errors,
        labels=labels,
        alike=alike or [],
        diagnoses=[(code, words.plain(code)) for code in DIAGNOSES],
        cuff_states=[(code, words.plain(code)) for code in CUFF_STATES],
        sexes=[(code, words.SEX[code]) for code in SEXES if code != "not_recorded"],
        texts=TEXTS,
        cuff=CUFF,
    )
