"""What a patient reported becomes an event by one click: from Today, from the page of the flag, or from the page of the answers.

A second click leads to the event that the first one made, also where that was marked as entered in error since.
"""

from collections.abc import Iterable

from flask import abort, make_response, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic import contact
from server.clinic.events import recorded_as
from server.clinic.log import LONGEST_ID
from server.clinic.reported_events import event_of_answer, made_of, reportable
from server.crypto.fields import FieldProblem
from server.fields.check import EntryRefused
from server.forms.stored import StoredAnswersProblem, open_answers
from server.models import ClinicEvent, Flag, Operation, Patient, Response
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.edit_form import row_to_change
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.today_place import place_in
from server.trust.keys import KeyMissing

LONGEST_ITEM = 40
# What the page of the event says. Of several events the first of these is told: what a click has written comes before what was there.
SAID = PARTLY, NEW, IN_ERROR, THERE = "events-partly", "event-reported", "event-in-error", "event-there"


def flag_event(flag_id: int) -> AnyResponse:
    """Makes the events of all that one row of Today says, and settles it where it asks for nothing else."""
    try:
        with writing() as session:
            flag = session.get(Flag, flag_id)
            if flag is None or flag.response_id is None:
                abort(404)
            patient_id, response_id = _locked(session, flag.patient_id).id, flag.response_id
            together = contact.flags_settled_together(session, flag) if flag.settled_at is None else [flag]
            items = dict.fromkeys(item for each in together if (item := reportable(each.item)) is not None)
            if not items:
                abort(404)
            events = _events(session, session.get_one(Response, response_id), items)
            done, event_id = min(events, key=lambda each: SAID.index(each[0]))
            if flag.kind == "event_reported" and flag.settled_at is None and done in (NEW, THERE):
                note = words.gettext("Written down as an event, as the patient reported it.")
                contact.settle_flag(session, flag, note, now=request_context().now, by_id=signed_in().id)
    except EntryRefused as problem:
        return _not_written(patient_id, response_id, problem)
    place = place_in(request.form)
    if place is not None and done != IN_ERROR:
        return redirect(place.address(done))
    return _led_to(patient_id, event_id, done)


def answer_event(response_id: int) -> AnyResponse:
    """The event of one item of a response."""
    item = reportable(request.form.get("item", "")[:LONGEST_ITEM])
    try:
        with writing() as session:
            response = session.get(Response, response_id)
            if response is None or response.timepoint_id is None or item is None:
                abort(404)
            patient_id = _locked(session, response.patient_id).id
            done, event_id = _event(session, response, item)
    except EntryRefused as problem:
        return _not_written(patient_id, response_id, problem)
    return _led_to(patient_id, event_id, done)


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


def _led_to(patient_id: int, event_id: int, done: str) -> AnyResponse:
    """The page of the event; of one in error the place where it is brought back."""
    anchor = "taken-back" if done == IN_ERROR else None
    return redirect(url_for("staff.event", patient_id=patient_id, row_id=event_id, done=done, _anchor=anchor))


def _not_written(patient_id: int, response_id: int, problem: EntryRefused) -> AnyResponse:
    """Why nothing is made of it, such as a patient who wants nothing more taken from records."""
    with reading() as session:
        html = render_template(
            "staff/events/not_written.html",
            patient=session.get_one(Patient, patient_id),
            response_id=response_id,
            sentences=[sentence for sentences in problem.errors.values() for sentence in sentences],
        )
    return make_response(html, 422)


def _events(session: Session, response: Response, items: Iterable[str]) -> list[tuple[str, int]]:
    """What is said of the event of each item that can be one, and its id. Raises EntryRefused when nothing was written."""
    events, refused = [], None
    for item in items:
        try:
            events.append(_event(session, response, item))
        except EntryRefused as problem:  # it is checked before anything of it is written
            refused = problem
    if refused is None:
        return events
    if all(done != NEW for done, _ in events):
        raise refused
    return [(PARTLY if done == NEW else done, event_id) for done, event_id in events]


def _event(session: Session, response: Response, item: str) -> tuple[str, int]:
    """What is said of the event of this item, and its id. Raises EntryRefused when it cannot be."""
    there = made_of(session, response.id).get(item)
    if there is not None:
        return IN_ERROR if there.taken_back_at is not None else THERE, there.id
    machine = runtime()
    patient = session.get_one(Patient, response.patient_id)
    try:
        answers = open_answers(response.answers, machine.keys.patient_cipher(patient.handle))
        made = event_of_answer(
            session,
            response,
            item,
            answers,
            library=machine.library,
            now=request_context().now,
            today=request_context().today,
            by_id=signed_in().id,
        )
    except (KeyMissing, FieldProblem, StoredAnswersProblem, KeyError, StopIteration):
        abort(409)  # erased, altered, or no such answer: the page of the answers says which
    return NEW, made.id
