"""The small forms of a patient's page. Each writes in one transaction, brings the due sheet up to date, and goes back to the page."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from flask import abort, redirect, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.checks import check_contact, ways_beginning_with
from server.clinic.contact import record_attempt
from server.clinic.contradiction import Contradiction
from server.clinic.history import change_row, note_change
from server.clinic.left_open import refuse_contact, refuse_new_details
from server.clinic.surgery import surgery_cancelled
from server.fields.change import CANCELLED, WHY
from server.fields.check import Calendar, CheckedEntry, EntryRefused, check_values, checked
from server.fields.field import Field, named
from server.fields.person import ATTEMPT, BIRTH, CONTACT, PERSON
from server.fields.read_form import read_form
from server.fields.stored import stored_values
from server.links.make import correct_birth_date, replace_link, unlock
from server.links.publish import publish_sheet
from server.models import Operation, Patient
from server.queries.facts import left_on
from server.staff.page.database import writing
from server.staff.page.edit_form import ChangedMeanwhile, as_sent, chosen, row_to_change
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.today_place import place_in
from server.staff.patient.patient_page import DAYS_SHOWN, Typed, birth_shown, contact_shown, days_shown, not_right
from server.trust.audit import audit

LONGEST_ID = 19  # digits; a longer number is no row of any database
FIRST_BY = (named(PERSON, "channel_order"),)


def save(patient_id: int, form: str, done: str, change: Callable[[Session, Patient], None]) -> AnyResponse:
    """Runs `change`; on a problem nothing is saved and the page shows it with what was typed."""
    try:
        with writing() as session:
            patient = row_to_change(session, Patient, patient_id)
            if patient is None or patient.merged_into_id is not None:
                abort(404)
            change(session, patient)
            session.flush()
            publish_sheet(
                session, patient, library=runtime().library, now=request_context().now, today=request_context().today
            )
    except ChangedMeanwhile as problem:
        return not_right(patient_id, Typed(form, problem.values, meanwhile=problem.changes))
    except (EntryRefused, Contradiction) as problem:
        return not_right(patient_id, Typed(form, chosen(request.form), problem.errors))
    place = place_in(request.form)
    return redirect(
        place.address(done, patient_id) if place else url_for("staff.patient", patient_id=patient_id, done=done)
    )


def read(
    fields: tuple[Field, ...], *, form: Mapping[str, str] | None = None, prefix: str = "", born: date | None = None
) -> CheckedEntry:
    """The fields of the form that was sent, read and checked by their table. Raises EntryRefused with every error."""
    values, unreadable = read_form(fields, request.form if form is None else form, prefix=prefix)
    calendar = Calendar(request_context().today, born)
    errors = {**check_values(fields, values, calendar, prefix=prefix), **unreadable}
    if errors:
        raise EntryRefused(errors)
    return checked(fields, values, calendar)


def _why(prefix: str) -> str | None:
    return read((WHY,), prefix=prefix).text("why")


def _now() -> dict[str, Any]:
    return {"now": request_context().now, "by_id": signed_in().id}


def _now_and_today() -> dict[str, Any]:
    return {**_now(), "today": request_context().today}


def add_attempt(patient_id: int) -> AnyResponse:
    def change(session: Session, patient: Patient) -> None:
        about = request.form.get("about", "")
        if about and not (about.isdecimal() and len(about) < LONGEST_ID):
            abort(400)
        timepoint_id = int(about) if about else None
        refuse_contact(patient)
        record_attempt(session, patient, read(ATTEMPT), timepoint_id=timepoint_id, **_now())

    return save(patient_id, "attempt", "attempt", change)


def new_link(patient_id: int) -> AnyResponse:
    def change(session: Session, patient: Patient) -> None:
        if left_on(patient) is not None:
            raise EntryRefused({"link": ["Nothing more is expected of this patient, so no link is made."]})
        replace_link(session, patient, **_now())

    return save(patient_id, "link", "link-replaced", change)


def unlock_link(patient_id: int) -> AnyResponse:
    def change(session: Session, patient: Patient) -> None:
        unlock(session, patient, **_now())

    return save(patient_id, "link", "unlocked", change)


def birth_date(patient_id: int) -> AnyResponse:
    def change(session: Session, patient: Patient) -> None:
        typed = as_sent(session, request.form, birth_shown(patient), BIRTH, [patient])
        born = read(BIRTH, form=typed).day("birth_on")
        done = [each.surgery_on for shoulder in patient.shoulders for each in shoulder.operations if each.surgery_on]
        if born is None or (done and born > min(done)):
            raise EntryRefused({"birth_on": ["This is after an operation. Check the year of both."]})
        if born != patient.birth_on:
            note_change(session, patient, "birth_on", patient.birth_on, born, **_now(), why=_why("birth-"))
        correct_birth_date(session, patient, born, **_now())

    return save(patient_id, "birth", "birth-date", change)


def contact(patient_id: int) -> AnyResponse:
    """Ways to reach the patient, and which comes first; a way that leads nowhere any more is dropped."""

    def change(session: Session, patient: Patient) -> None:
        typed = as_sent(session, request.form, contact_shown(patient), (*CONTACT, *FIRST_BY), [patient])
        entry, chosen, why = read(CONTACT, form=typed), read(FIRST_BY, form=typed)["channel_order"], _why("contact-")
        earlier = patient.channel_order.split(",")
        first = chosen[0] if isinstance(chosen, tuple) else earlier[0]
        ways = ways_beginning_with(first, earlier, entry)
        errors = check_contact({**entry, "channel_order": ways}, kept_phone=patient.phone)
        if errors:
            raise EntryRefused(errors)
        values = {**stored_values(CONTACT, entry), **stored_values(FIRST_BY, {"channel_order": ways})}
        if any(entry[name] is not None and entry[name] != getattr(patient, name) for name in entry):
            refuse_new_details(patient)
        changed = change_row(session, patient, values, **_now(), why=why)
        audit(session, "patient:contact_changed", f"patient {patient.id}", **_now(), fields=changed)

    return save(patient_id, "contact", "contact", change)


def cancel_surgery(patient_id: int, operation_id: int) -> AnyResponse:
    """A planned operation will not be done. That it was done, or is to be on another day, is entered in the form of the operation."""
    prefix = f"surgery-{operation_id}-"

    def change(session: Session, patient: Patient) -> None:
        operation = row_to_change(session, Operation, operation_id)
        if operation is None or operation.taken_back_at or operation.shoulder.patient_id != patient.id:
            abort(404)
        as_sent(session, request.form, days_shown(operation), DAYS_SHOWN, [operation], prefix=prefix)
        entry = read(CANCELLED, prefix=prefix)
        day = entry.day("on") or request_context().today
        surgery_cancelled(session, operation, day, reason=entry.text("why"), **_now_and_today())

    return save(patient_id, f"surgery-{operation_id}", "surgery-cancelled", change)
