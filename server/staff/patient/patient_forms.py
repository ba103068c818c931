"""The small forms of a patient's page. Each writes in one transaction, brings the due sheet up to date, and goes back to the page."""

from collections.abc import Callable
from datetime import date

from flask import abort, redirect, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic import course
from server.clinic.checks import check_birth, check_reach
from server.clinic.contact import record_attempt
from server.clinic.course import CourseProblem
from server.clinic.enrol import EnrolmentProblem, add_operation, read_shoulder
from server.clinic.operations import left_on
from server.links.make import correct_birth_date, end_links, live_link, replace_link, unlock
from server.links.publish import publish_sheet
from server.models import Operation, Patient
from server.models.contact import ATTEMPT_RESULTS
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.unusable_plans import no_new_follow_up
from server.staff.page.words import CHANNEL
from server.staff.patient.patient_page import Typed, not_right
from server.timepoints.plans import PlanUnusable, read_plans
from server.trust.audit import audit

NOTE_LONGEST = 1000
CONTACT_LONGEST = {"email": 254, "phone": 40, "address": 400, "second_contact": 400}
ENDS = {"died": course.patient_died, "withdrew": course.withdrew, "transferred": course.transferred}


class NotRight(ValueError):
    """What was typed cannot be saved; errors by field."""

    def __init__(self, errors: dict[str, list[str]]) -> None:
        super().__init__(str(errors))
        self.errors = errors


def save(patient_id: int, form: str, done: str, change: Callable[[Session, Patient], None]) -> AnyResponse:
    """Runs `change`; on a problem nothing is saved and the page shows it with what was typed."""
    try:
        with writing() as session:
            patient = session.get(Patient, patient_id)
            if patient is None or patient.merged_into_id is not None:
                abort(404)
            change(session, patient)
            session.flush()
            publish_sheet(
                session, patient, library=runtime().library, now=request_context().now, today=request_context().today
            )
    except (NotRight, EnrolmentProblem) as problem:
        return not_right(patient_id, Typed(form, request.form, problem.errors))
    except CourseProblem as problem:
        return not_right(patient_id, Typed(form, request.form, {f"{form}-on": [str(problem)]}))
    return redirect(url_for("staff.patient", patient_id=patient_id, done=done))


def read_day(field: str) -> date:
    """Raises NotRight when the field holds no day."""
    try:
        return date.fromisoformat(request.form.get(field, ""))
    except ValueError as problem:
        raise NotRight({field: ["Write the day as year-month-day, like 2024-03-28."]}) from problem


def read_note(field: str = "note") -> str | None:
    note = request.form.get(field, "").strip()
    if len(note) > NOTE_LONGEST:
        raise NotRight({field: [f"This is longer than {NOTE_LONGEST} characters; shorten it."]})
    return note or None


def add_attempt(patient_id: int) -> AnyResponse:
    def change(session: Session, patient: Patient) -> None:
        channel, result = request.form.get("channel", ""), request.form.get("result", "")
        if channel not in CHANNEL or result not in ATTEMPT_RESULTS:
            raise NotRight({"result": ["Choose how you tried and what came of it."]})
        now, by_id = request_context().now, signed_in().id
        record_attempt(session, patient, channel=channel, result=result, note=read_note(), now=now, by_id=by_id)

    return save(patient_id, "attempt", "attempt", change)


def new_link(patient_id: int) -> AnyResponse:
    def change(session: Session, patient: Patient) -> None:
        if left_on(patient) is not None:
            raise NotRight({"link": ["Nothing more is expected of this patient, so no link is made."]})
        replace_link(session, patient, now=request_context().now, by_id=signed_in().id)

    return save(patient_id, "link", "link-replaced", change)


def unlock_link(patient_id: int) -> AnyResponse:
    def change(session: Session, patient: Patient) -> None:
        unlock(session, patient, now=request_context().now, by_id=signed_in().id)

    return save(patient_id, "link", "unlocked", change)


def birth_date(patient_id: int) -> AnyResponse:
    def change(session: Session, patient: Patient) -> None:
        born = read_day("birth_on")
        done = [each.surgery_on for shoulder in patient.shoulders for each in shoulder.operations if each.surgery_on]
        if check_birth(born, today=request_context().today) or (done and born > min(done)):
            raise NotRight(
                {"birth_on": ["This is after an operation or after today, or too long ago. Check the year."]}
            )
        correct_birth_date(session, patient, born, now=request_context().now, by_id=signed_in().id)

    return save(patient_id, "birth", "birth-date", change)


def contact(patient_id: int) -> AnyResponse:
    def change(session: Session, patient: Patient) -> None:
        values = {name: request.form.get(name, "").strip() for name in CONTACT_LONGEST}
        errors = {
            name: [f"This is longer than {longest} characters; shorten it."]
            for name, longest in CONTACT_LONGEST.items()
            if len(values[name]) > longest
        }
        errors = {**check_reach(values["email"] or None, values["phone"] or None), **errors}
        if errors:
            raise NotRight(errors)
        changed = [name for name, value in values.items() if (value or None) != getattr(patient, name)]
        for name in changed:
            setattr(patient, name, values[name] or None)
        audit(
            session,
            "patient:contact_changed",
            f"patient {patient.id}",
            now=request_context().now,
            by_id=signed_in().id,
            fields=changed,
        )

    return save(patient_id, "contact", "contact", change)


def leave(patient_id: int) -> AnyResponse:
    """Died, withdrew, or is followed by another clinic from now on."""

    def change(session: Session, patient: Patient) -> None:
        end = ENDS.get(request.form.get("reason", ""))
        if end is None or not request.form.get("sure"):
            raise NotRight({"reason": ["Choose what happened, and tick that you are sure."]})
        day = read_day("leave-on")
        end(session, patient, day, now=request_context().now, today=request_context().today, by_id=signed_in().id)
        end_links(session, patient, now=request_context().now)

    return save(patient_id, "leave", "left", change)


def new_operation(patient_id: int) -> AnyResponse:
    def change(session: Session, patient: Patient) -> None:
        side = request.form.get("side", "")
        if side not in ("left", "right"):
            raise NotRight({"side": ["Choose the shoulder."]})
        fields = {f"{side}_{name}": value for name, value in request.form.items()}
        entry, errors = read_shoulder(fields, side)
        try:
            if errors:
                raise EnrolmentProblem(errors)
            plan = read_plans(session).named(request_context().default_plan)
            add_operation(
                session,
                patient,
                entry,
                plan=plan,
                now=request_context().now,
                today=request_context().today,
                by_id=signed_in().id,
            )
        except EnrolmentProblem as problem:
            raise NotRight({name.removeprefix(f"{side}_"): said for name, said in problem.errors.items()}) from problem
        except PlanUnusable as problem:
            raise NotRight({"kind": [no_new_follow_up(problem)]}) from problem
        if left_on(patient) is None:
            live_link(session, patient, now=request_context().now)

    return save(patient_id, "operation", "operation-added", change)


def surgery(operation_id: int) -> AnyResponse:
    """Done, moved or cancelled, for one planned operation; a day done can be corrected."""
    with reading() as session:
        operation = session.get(Operation, operation_id)
        if operation is None:
            abort(404)
        patient_id = operation.shoulder.patient_id
    what = request.form.get("what", "")
    done = {"done": "surgery-done", "moved": "surgery-moved", "cancelled": "surgery-cancelled"}.get(what)
    if done is None:
        abort(400)

    def change(session: Session, _patient: Patient) -> None:
        _change_surgery(session, session.get_one(Operation, operation_id), what)

    return save(patient_id, f"surgery-{operation_id}", done, change)


def _change_surgery(session: Session, operation: Operation, what: str) -> None:
    field = f"surgery-{operation.id}-on"
    if what == "moved" and not request.form.get(field):
        course.surgery_moved(
            session, operation, None, now=request_context().now, today=request_context().today, by_id=signed_in().id
        )
        return
    day = read_day(field)
    if what == "done":
        course.surgery_done(
            session, operation, day, now=request_context().now, today=request_context().today, by_id=signed_in().id
        )
    elif what == "moved":
        course.surgery_moved(
            session, operation, day, now=request_context().now, today=request_context().today, by_id=signed_in().id
        )
    else:
        course.surgery_cancelled(
            session,
            operation,
            day,
            reason=request.form.get("cancelled_reason", "").strip(),
            now=request_context().now,
            today=request_context().today,
            by_id=signed_in().id,
        )
