"""Enrolling a patient: one page, few required fields, everything typed stays when something is not right."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

from flask import Response, make_response, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.agreed_text import NOTICE, OFFERED, offered_texts
from server.clinic.checks import check_enrolment
from server.clinic.consents import by_whom
from server.clinic.duplicates import Alike, possible_duplicates
from server.clinic.enrol import enrol
from server.clinic.enrolment_form import ASKED, read_enrolment
from server.clinic.entries import Enrolment
from server.clinic.log import enrolled_after_all, log_line
from server.fields.check import Calendar, EntryRefused, check_values, checked
from server.fields.field import Errors, Field, Sentence, named
from server.fields.operation import in_page_order
from server.fields.operation_words import SIDES
from server.fields.person import CONSENT, CONSENT_KINDS, PERSON, USUAL_MAJORITY
from server.fields.read_form import read_form
from server.links.make import find_live_link, live_link
from server.links.publish import publish_sheet
from server.models import OperationLog, Patient
from server.queries.clinic_notices import notice_versions
from server.queries.clock import the_clinic
from server.schedule.dates import anniversary
from server.staff.enrol.invitation import invitation
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.patient_link import shown_link
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.unusable_plans import no_new_follow_up
from server.staff.page.which_text import TYPED_VERSION, which_text
from server.texts.decision import what_waits
from server.timepoints.plans import PlanUnusable, read_plans
from server.words import labels
from server.words.phrase import Phrase, phrase

GIVER = tuple(named(CONSENT, name) for name in ("given_by", "given_by_name"))
LABELS: Mapping[str, Phrase | str] = {
    "shoulders": phrase("Shoulder"),
    "plan": phrase("Follow-up plan"),
    **{field.name: field.label for field in (*PERSON, *GIVER)},
}
SIDE_LABELS = {
    f"{side}_{field.name}": phrase("%(shoulder)s, %(field)s", shoulder=labels.SHOULDER[side], field=field.label)
    for side in SIDES
    for field in ASKED
}


def enrol_page() -> str:
    """An empty page; or with what a line of the operation log knows, whose patient is enrolled after all."""
    offered = {"language": request_context().languages[0], "channel_order": "email"}
    with reading() as session:
        line = log_line(session, request.args.get("log", ""))
        return _render(session, {**offered, **(_of_line(line) if line else {})}, {})


def _of_line(line: OperationLog) -> dict[str, str]:
    known = {name: getattr(line, name) for name in ("surgery_on", "procedure", "implant_type", "surgeon")}
    named = {f"{line.side}_{name}": str(value) for name, value in known.items() if value is not None}
    return {"log": str(line.id), f"{line.side}_shoulder": "yes", **named}


def enrol_post() -> Response | AnyResponse:
    """Enrols, or shows the page again with all that was typed and every error. Nothing is kept then."""
    enrolment, errors = read_enrolment(request.form, today=request_context().today)
    if enrolment is None:
        return _not_right(errors)
    with reading() as session:
        asked = _asked_first(session, enrolment)
    if asked is not None:
        return asked
    try:
        with writing() as session:
            patient_id = _keep(session, enrolment)
    except EntryRefused as problem:
        return _not_right(problem.errors)
    except PlanUnusable as problem:
        return _not_right({"plan": [no_new_follow_up(problem)]})
    return redirect(url_for("staff.enrolled", patient_id=patient_id, done="enrolled"))


def _asked_first(session: Session, enrolment: Enrolment) -> Response | None:
    """The page with what is wrong in view of what is kept, or what has to be asked; None when neither. Sets who agreed for a child."""
    errors = check_enrolment(enrolment, today=request_context().today, session=session)
    if not errors:
        alike = possible_duplicates(session, enrolment.person)
        if alike and not request.form.get("not_a_duplicate"):
            return make_response(_render(session, request.form, {}, alike=alike), 422)
        enrolment.given_by, errors = _giver(session, enrolment)
    return make_response(_render(session, request.form, errors), 422) if errors else None


def _giver(session: Session, enrolment: Enrolment) -> tuple[tuple[str, str | None] | None, Errors]:
    """Who agreed for somebody who is not of age; nothing is asked of anybody else."""
    today, born = request_context().today, enrolment.person["birth_on"]
    of_age = anniversary(born, the_clinic(session).majority_age or USUAL_MAJORITY) if isinstance(born, date) else today
    if today >= of_age or not enrolment.consents:
        return None, {}
    values, unreadable = read_form(GIVER, request.form)
    calendar = Calendar(today)
    errors = check_values(GIVER, values, calendar) | unreadable
    errors = errors or by_whom(checked(GIVER, values, calendar), today, "given_by", "given_by_name", of_age)
    return (str(values["given_by"]), str(values["given_by_name"])) if not errors else None, errors


def enrolled(patient_id: int) -> str | AnyResponse:
    """Right after: the link large, to be scanned at once or printed."""
    with reading() as session:
        patient = session.get(Patient, patient_id)
        link = shown_link(find_live_link(session, patient)) if patient else None
        if patient is None or link is None:
            return redirect(url_for("staff.patient", patient_id=patient_id))
        waiting = what_waits(session, runtime().library, request_context().today)
        done = [each for shoulder in patient.shoulders for each in shoulder.operations if each.surgery_on is not None]
        return render_template(
            "staff/enrol/enrolled.html",
            patient=patient,
            link=link,
            waiting=waiting,
            done=done,
            invitation=None if waiting.forms else invitation(session, patient, today=request_context().today),
        )


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
    line = log_line(session, request.form.get("log", ""))
    if line is not None:
        operations = [
            each for shoulder in patient.shoulders if shoulder.side == line.side for each in shoulder.operations
        ]
        for operation in operations[:1]:
            enrolled_after_all(session, line, operation, now=request_context().now, by_id=signed_in().id)
    live_link(session, patient, now=request_context().now)
    publish_sheet(session, patient, library=machine.library, now=request_context().now, today=request_context().today)
    return patient.id


def _not_right(errors: Mapping[str, list[Sentence]]) -> Response:
    with reading() as session:
        return make_response(_render(session, request.form, errors), 422)


def _texts(session: Session, offered: Mapping[str, str]) -> list[Field]:
    """How the text that was read is said, of each kind of consent of which the clinic has one in force, or had when the page was opened."""
    known = {each.kind for each in notice_versions(session)}
    current = offered_texts(session)
    names = {kind: f"{OFFERED}_{kind}" for kind in CONSENT_KINDS if kind in known}
    asked = [kind for kind, name in names.items() if current[name] or offered[name]]
    return [field for kind in asked for field in _text_of(session, kind)]


def _text_of(session: Session, kind: str) -> list[Field]:
    title = words.sentence(words.say(labels.NOTICE[kind]))
    names = {NOTICE: title, TYPED_VERSION.name: words.gettext("%(what)s: its version") % {"what": title}}
    return [
        replace(each, name=f"{each.name}_{kind}", label=names[each.name], hint="")
        for each in which_text(session, (kind,), in_force=True)
    ]


def _render(
    session: Session,
    values: Mapping[str, str],
    errors: Mapping[str, list[Sentence]],
    *,
    alike: list[Alike] | None = None,
) -> str:
    # A page shown again tells what it offered at first: that is what may have been read.
    offered = {name: values.get(name, text_id) for name, text_id in offered_texts(session).items()}
    texts = _texts(session, offered)
    text_labels = {each.name: each.label for each in texts}
    return render_template(
        "staff/enrol/enrol.html",
        values=values,
        errors=errors,
        field_labels={**LABELS, **SIDE_LABELS, **text_labels},
        offered=offered,
        texts=texts,
        ask_texts=any(name in errors for name in text_labels),
        alike=alike or [],
        person={field.name: field for field in PERSON},
        giver=GIVER,
        ask_giver=any(values.get(field.name) or field.name in errors for field in GIVER),
        asked=in_page_order(ASKED),
    )
