"""What a patient reported becomes an event by one click: from Today, from the page of the flag, or from the page of the answers."""

from flask import abort, redirect, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic import contact
from server.clinic.events import recorded_as
from server.clinic.log import LONGEST_ID
from server.clinic.reported_events import event_of_answer, reportable
from server.crypto.fields import FieldProblem
from server.fields.check import EntryRefused
from server.forms.stored import StoredAnswersProblem, open_answers
from server.models import ClinicEvent, Flag, Operation, Patient, Response
from server.staff.page import words
from server.staff.page.database import writing
from server.staff.page.edit_form import row_to_change
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.today_place import place_in
from server.trust.keys import KeyMissing

LONGEST_ITEM = 40


def flag_event(flag_id: int) -> AnyResponse:
    """Makes the events of all that one row of Today says, and settles it where it asks for nothing else."""
    with writing() as session:
        flag = session.get(Flag, flag_id)
        if flag is None or flag.response_id is None:
            abort(404)
        patient = _locked(session, flag.patient_id)
        together = contact.flags_settled_together(session, flag) if flag.settled_at is None else [flag]
        items = dict.fromkeys(item for each in together if (item := reportable(each.item)) is not None)
        events = [_event(session, session.get_one(Response, flag.response_id), item) for item in items]
        if not events:
            abort(404)
        if flag.kind == "event_reported" and flag.settled_at is None:
            note = words.gettext("Written down as an event, as the patient reported it.")
            contact.settle_flag(session, flag, note, now=request_context().now, by_id=signed_in().id)
        patient_id, event_id = patient.id, events[0].id
    place = place_in(request.form)
    if place is not None:
        return redirect(place.address("event-reported"))
    return redirect(url_for("staff.event", patient_id=patient_id, row_id=event_id, done="event-reported"))


def answer_event(response_id: int) -> AnyResponse:
    """The event of one item of a response."""
    item = reportable(request.form.get("item", "")[:LONGEST_ITEM])
    with writing() as session:
        response = session.get(Response, response_id)
        if response is None or response.timepoint_id is None or item is None:
            abort(404)
        patient_id = _locked(session, response.patient_id).id
        event_id = _event(session, response, item).id
    return redirect(url_for("staff.event", patient_id=patient_id, row_id=event_id, done="event-reported"))


def event_recorded_as(patient_id: int, row_id: int) -> AnyResponse:
    """The operation that was reported is one that stands in the record already."""
    typed = request.form.get("operation", "")
    with writing() as session:
        _locked(session, patient_id)
        event = row_to_change(session, ClinicEvent, row_id)
        operation = session.get(Operation, int(typed)) if typed.isdecimal() and len(typed) <= LONGEST_ID else None
        if event is None or operation is None or operation.shoulder.patient_id != patient_id:
            abort(404)
        recorded_as(session, event, operation, now=request_context().now, by_id=signed_in().id)
    return redirect(url_for("staff.event", patient_id=patient_id, row_id=row_id, done="corrected"))


def _locked(session: Session, patient_id: int) -> Patient:
    """Two who click at once wait for each other, so that one answer makes one event."""
    patient = row_to_change(session, Patient, patient_id)
    if patient is None or patient.merged_into_id is not None:
        abort(404)
    return patient


def _event(session: Session, response: Response, item: str) -> ClinicEvent:
    machine = runtime()
    patient = session.get_one(Patient, response.patient_id)
    try:
        answers = open_answers(response.answers, machine.keys.patient_cipher(patient.handle))
        return event_of_answer(
            session,
            response,
            item,
            answers,
            library=machine.library,
            now=request_context().now,
            today=request_context().today,
            by_id=signed_in().id,
        )
    except (KeyMissing, FieldProblem, StoredAnswersProblem, KeyError, StopIteration, EntryRefused):
        abort(409)  # erased, altered, or no such answer: the page of the answers says which
