"""Answers in the wrong place: about the other shoulder, from somebody else, or not usable; set aside, moved, or taken back."""

from flask import abort, redirect, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic import misplaced
from server.clinic.misplaced import Ground
from server.fields.change import CONFIRMED_HOW
from server.fields.check import EntryRefused
from server.models import Flag, Patient, Response, ResponseMend, Timepoint
from server.queries.current import COUNTED
from server.staff.mending.acts import Page, Shown, act, is_ticked, mend, reader, show
from server.staff.mending.grounds import ground_of
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.page.edit_form import row_to_change
from server.staff.page.request_context import request_context
from server.staff.page.staff_names import staff_names
from server.trust.keys import KeyMissing
from server.words.phrase import phrase

REASONS = {
    "wrong_side": phrase("they are about the other shoulder"),
    "wrong_person": phrase("somebody else gave them"),
    "not_usable": phrase("they cannot be used"),
}
DONE = {
    "set_aside": phrase("set aside"),
    "moved": phrase("moved"),
    "taken_back": phrase("taken back"),
    "kept": phrase("kept"),
}


def answers_page(response_id: int) -> str | AnyResponse:
    """What can be done about one response. `other` in the address names another patient whose answers these may be."""
    with reading() as session:
        response = session.get(Response, response_id)
        if response is None or response.timepoint_id is None:
            abort(404)
        patient_id = response.patient_id
    return show(patient_id, _page_of(response_id))


def mend_answers(response_id: int) -> AnyResponse:
    """Sets the answers aside, moves them to the form that was chosen, or takes back that they were set aside."""
    with reading() as session:
        response = session.get(Response, response_id)
        if response is None or response.timepoint_id is None:
            abort(404)
        patient_id = response.patient_id
    if request.form.get("look"):
        return redirect(url_for("staff.answers", response_id=response_id, other=request.form.get("other", "")[:20]))

    def change(session: Session, _patient: Patient) -> list[Patient]:
        response = row_to_change(session, Response, response_id)
        if response is None:
            abort(404)
        if request.form.get("what") == "take_back":
            misplaced.take_back(session, response, act())
            return []
        reason = request.form.get("reason", "")
        if reason not in REASONS:
            raise EntryRefused({"reason": [words.gettext("Choose what is wrong with these answers.")]})
        return _place(session, response, reason)

    return mend(patient_id, change, page=_page_of(response_id), done="mended")


def _place(session: Session, response: Response, reason: str) -> list[Patient]:
    """Where it was said that they go; nowhere means set aside. The patients besides the first whose forms change."""
    chosen = request.form.get("to", "")
    if not chosen:
        misplaced.set_aside(session, response, reason, act())
        return []
    to = session.get(Timepoint, int(chosen)) if chosen.isdecimal() and len(chosen) < 19 else None
    allowed = {each.id for _side, each in _places(session, response, _others(session, response))} if to else set()
    if to is None or to.id not in allowed:
        raise EntryRefused({"to": [words.gettext("Choose one of the forms, or none.")]})
    ground = None
    if to.patient_id == response.patient_id:
        ground = _said_on_screen(session, response, to) or ground_of(request.form)
    elif not is_ticked("sure"):
        raise EntryRefused({"sure": [words.gettext("Tick that you are sure whose answers these are.")]})
    misplaced.move_answers(session, response, to, reason, ground, act(), reader())
    return [session.get_one(Patient, to.patient_id)]


def _said_on_screen(session: Session, response: Response, to: Timepoint) -> Ground | None:
    """The notice by which the patient named, on the screen of this very form, the shoulder where the answers go."""
    side = to.follow_up.operation.shoulder.side
    if response.asked_side == side:
        return Ground("screen")
    said = select(Flag).where(
        Flag.timepoint_id == response.timepoint_id, Flag.kind == "said_wrong_side", Flag.true_side == side
    )
    flag = session.scalars(said.order_by(Flag.id)).first()
    return Ground("screen", flag_id=flag.id) if flag else None


def _others(session: Session, response: Response) -> list[Patient]:
    """The patient, and another one who was named by study number."""
    own = session.get_one(Patient, response.patient_id)
    number = (request.values.get("other") or "").strip()
    named = select(Patient).where(Patient.study_number == number, COUNTED, Patient.id != own.id)
    found = session.scalars(named).one_or_none() if number else None
    return [own, found] if found else [own]


def _places(session: Session, response: Response, people: list[Patient]) -> list[tuple[str, Timepoint]]:
    try:
        return [place for each in people for place in misplaced.places_for(session, response, each, reader())]
    except KeyMissing:
        return []


def _page_of(response_id: int) -> Page:
    def page(session: Session, patient: Patient, shown: Shown) -> str:
        response = session.get_one(Response, response_id)
        timepoint = session.get_one(Timepoint, response.timepoint_id)
        people = _others(session, response)
        names = {each.id: f"{each.study_number} {each.first_name} {each.last_name}" for each in people}
        places = [
            (str(to.id), f"{names[to.patient_id]}: {_named(side, to)}")
            for side, to in _places(session, response, people)
        ]
        mends = select(ResponseMend).where(ResponseMend.response_id == response.id).order_by(ResponseMend.id)
        return render_template(
            "staff/mending/answers.html",
            patient=patient,
            response=response,
            title=_named(timepoint.follow_up.operation.shoulder.side, timepoint),
            reasons=REASONS,
            places=places,
            other=people[1] if len(people) > 1 else None,
            asked_for=request.values.get("other", "")[:20],
            how=CONFIRMED_HOW,
            shown=shown,
            mends=list(session.scalars(mends)),
            done=DONE,
            staff=staff_names(session),
            moment=lambda at: words.moment(at, request_context().time_zone),
        )

    return page


def _named(side: str, timepoint: Timepoint) -> str:
    shoulder = words.gettext("left shoulder") if side == "left" else words.gettext("right shoulder")
    day = words.day(timepoint.due_on)
    return f"{shoulder}, {words.timepoint(timepoint.code)} ({day})"
