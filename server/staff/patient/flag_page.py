"""One flag: what a patient answered that a person should look at, and settling it with a note. It decides nothing."""

from collections.abc import Sequence
from dataclasses import dataclass

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic import contact
from server.clinic.history import read_changes
from server.clinic.left_open import may_contact
from server.clinic.reported_events import made_of, reportable
from server.fields.read_form import lines
from server.models import ClinicEvent, Flag, Patient, Shoulder, Timepoint
from server.queries.chosen import Asked, Chosen, chosen_options
from server.queries.facts import withdrew
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, runtime, signed_in
from server.staff.page.staff_names import staff_names
from server.staff.page.telephone import dialled
from server.staff.page.what_happened import Happened, happened
from server.words.languages import direction_of
from server.words.phrase import Phrase
from server.worklist.words import emergency, topic, translated

NOTE_LONGEST = 1000
MOST_CHANGES = 60
OPERATION = "operation"
# Where a person may go from the note and come back: the word of the button, and the place on the patient's page.
ON_THE_WAY = {
    "contact": "form-contact",
    "operations": "operations",
    "attempt": "form-attempts",
    "leave": "form-leave",
}


def flag_page(flag_id: int) -> str:
    with reading() as session:
        return _render(session, flag_id, {"note": _flag(session, flag_id).settled_note or ""}, {})


def settle_flag(flag_id: int) -> Response | AnyResponse:
    """Settles all flags of one row together, with a note. 404 for a flag that is not there."""
    note = lines(request.form.get("note", ""))
    if not note:
        return _not_right(flag_id, words.gettext("Write what you found or did; the next person relies on it."))
    if problem := _problem(note):
        return _not_right(flag_id, problem)
    with writing() as session:
        flag = _open_flag(session, flag_id)
        contact.settle_flag(session, flag, note, now=request_context().now, by_id=signed_in().id)
        patient_id = flag.patient_id
    return redirect(url_for("staff.patient", patient_id=patient_id, done="flag-settled"))


def keep_note(flag_id: int) -> Response | AnyResponse:
    """Goes to a form of the patient, or to that of a reported operation; what was typed so far stays with the open flag."""
    then, note = request.form.get("then", ""), lines(request.form.get("note", ""))
    anchor = ON_THE_WAY.get(then)
    if anchor is None and then != OPERATION:
        abort(400)
    if problem := _problem(note):
        return _not_right(flag_id, problem)
    with writing() as session:
        flag = _open_flag(session, flag_id)
        contact.keep_note(session, flag, note, now=request_context().now, by_id=signed_in().id)
        if then == OPERATION:
            return redirect(_operation_form(session, flag))
        patient_id = flag.patient_id
    return redirect(url_for("staff.patient", patient_id=patient_id, done="note-kept" if note else None, _anchor=anchor))


def _operation_form(session: Session, flag: Flag) -> str:
    """The form of a new operation, which fills in what the patient said; the kind can still be chosen otherwise."""
    timepoint = session.get(Timepoint, flag.timepoint_id) if flag.timepoint_id else None
    side = timepoint.follow_up.operation.shoulder.side if timepoint else None
    return url_for(
        "staff.new_operation", patient_id=flag.patient_id, side=side, kind="revision", done="yes", flag=flag.id
    )


def _problem(note: str) -> str:
    if len(note) > NOTE_LONGEST:
        return words.gettext("This is longer than %(longest)s characters; shorten it.") % {"longest": NOTE_LONGEST}
    if not all(line.isprintable() for line in note.split("\n")):
        return words.gettext("This holds a sign that cannot be printed.")
    return ""


def _not_right(flag_id: int, problem: str) -> Response:
    with reading() as session:
        return make_response(_render(session, flag_id, request.form, {"note": [problem]}), 422)


def _open_flag(session: Session, flag_id: int) -> Flag:
    flag = _flag(session, flag_id)
    if flag.settled_at is not None:
        abort(409)
    return flag


def _render(session: Session, flag_id: int, values: object, errors: dict[str, list[str]]) -> str:
    flag = _flag(session, flag_id)
    together = contact.flags_settled_together(session, flag) if flag.settled_at is None else [flag]
    timepoint = session.get(Timepoint, flag.timepoint_id) if flag.timepoint_id else None
    patient = session.get_one(Patient, flag.patient_id)
    made = made_of(session, flag.response_id) if flag.response_id is not None else {}
    options = _options(session, together)
    said = [_line(each, options.get((each.response_id or 0, each.item or ""))) for each in together]
    items = dict.fromkeys(item for each in together if (item := reportable(each.item)) is not None)
    return render_template(
        "staff/patient/flag.html",
        flag=flag,
        patient=patient,
        may_contact=may_contact(patient),
        withdrawn=withdrew(patient),
        timepoint=timepoint,
        side=timepoint.follow_up.operation.shoulder.side if timepoint else None,
        lines=said,
        emergency=emergency(options.values()) if flag.kind == "safety_answer" else None,
        as_event=[item for item in items if item not in made],
        events=[_happened(session, made[item]) for item in items if item in made],
        values=values,
        errors=errors,
        dial=dialled(patient.phone or ""),
        settled_before=_settled_before(session, flag),
        settled_by=staff_names(session).get(flag.settled_by_id or 0, ""),
        moment=lambda at: words.moment(at, request_context().time_zone),
    )


def _settled_before(session: Session, flag: Flag) -> list[str]:
    """The notes with which it was settled before it opened again, and by whom, the newest first."""
    changes, staff = read_changes(session, [("flag", flag.id)], most=MOST_CHANGES), staff_names(session)
    by = {each.at: staff.get(int(str(each.old)), "") for each in changes if each.field == "settled_by_id" and each.old}
    notes = [(words.say(each.old), by.get(each.at, "")) for each in changes if each.field == "settled_note"]
    return [f"{note} ({person})" if person else note for note, person in notes]


def _happened(session: Session, event: ClinicEvent) -> Happened:
    return happened(event, session.get_one(Shoulder, event.shoulder_id).side)


def _flag(session: Session, flag_id: int) -> Flag:
    flag = session.get(Flag, flag_id)
    if flag is None:
        abort(404)
    return flag


@dataclass(frozen=True)
class Line:
    """What one flag is about: the topic, and beside it what the patient typed or chose, in the language in which it was read.

    `translated`: what was chosen, in the language of who reads the page. `unread`: why the option that was chosen is not shown.
    """

    topic: Phrase | str
    said: str
    language: str | None = None
    direction: str | None = None
    unread: Phrase | None = None
    translated: Phrase | None = None


def _options(session: Session, flags: Sequence[Flag]) -> dict[Asked, Chosen]:
    asked = {(flag.response_id, flag.item) for flag in flags if flag.response_id and flag.item}
    return chosen_options(session, asked, runtime().keys.patient_cipher, runtime().library)


def _line(flag: Flag, chosen: Chosen | None) -> Line:
    about = topic(flag.item, None, runtime().library) if flag.item else ""
    if flag.detail or chosen is None:
        return Line(about, flag.detail or "")
    if not chosen.option:
        return Line(about, "", unread=chosen.unread if flag.kind == "safety_answer" else None)
    in_words_of_reader = translated(chosen).get(words.spoken().language)
    return Line(about, chosen.option, chosen.language, direction_of(chosen.language), translated=in_words_of_reader)
