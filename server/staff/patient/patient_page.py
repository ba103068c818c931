"""One patient: the course of both shoulders, what it says, operations, link, contact, history."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from flask import Response, abort, make_response, render_template
from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.threshold_choice import RULE
from server.clinic.history import Change, read_changes
from server.clinic.left_open import may_contact
from server.clinic.operation_doubts import CHECKED
from server.fields.field import Sentence
from server.fields.operation import OPERATION
from server.fields.operation_words import OPERATION_KINDS
from server.fields.person import BIRTH, CONTACT, DEATH_SOURCES
from server.fields.stored import in_form
from server.links.make import find_live_link
from server.models import ContactAttempt, GateTries, Message, Operation, Patient, Shoulder, Timepoint, Transition
from server.queries.facts import is_spoken_for
from server.queries.pause import PAUSING
from server.staff.page import words
from server.staff.page.attempt_form import attempt_form
from server.staff.page.database import reading
from server.staff.page.edit_form import OthersChange
from server.staff.page.patient_link import shown_link
from server.staff.page.recorded_fields import facts_of_operation
from server.staff.page.request_context import request_context, runtime
from server.staff.page.shoulder_rulers import read_rulers
from server.staff.page.story import story_of
from server.staff.page.telephone import dialled
from server.staff.page.today_place import place_in
from server.staff.page.year_mark_drawing import draw_key
from server.staff.patient.change_table import changes_of, thresholds_used
from server.staff.patient.chart_drawing import draw_chart
from server.staff.patient.flag_history import flags_of, held_of
from server.staff.patient.patient_record import Record, read_record
from server.staff.patient.printed_score import format_score, score_href
from server.staff.patient.score_series import course_chart, table_headings
from server.staff.patient.standing import standings, summary_of_operation
from server.staff.patient.summary import descriptive_note, summarise
from server.staff.patient.take_home import language_of, why_no_page
from server.words import labels
from server.words.ladders import step_name
from server.words.language import Words
from server.words.phrase import Phrase
from server.worklist.words import TRIED, kept_back, title

HISTORY_SHOWN = 80
NAMES_AN_OPERATION = ("taken_out_id", "first_stage_id")
DAYS_SHOWN = tuple(field for field in OPERATION if field.name in ("surgery_planned_on", "surgery_on", "cancelled_on"))


@dataclass(frozen=True)
class Typed:
    """A small form that was not right: which one, what was typed, what is wrong by field, and what somebody else changed meanwhile."""

    form: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, list[Sentence]] = field(default_factory=dict)
    meanwhile: list[OthersChange] = field(default_factory=list)


def contact_shown(patient: Patient) -> dict[str, str]:
    """What the form about reaching the patient shows, input by input: of several ways of contact the first."""
    return {**in_form(CONTACT, patient), "channel_order": patient.channel_order.split(",")[0]}


def birth_shown(patient: Patient) -> dict[str, str]:
    return in_form(BIRTH, patient)


def days_shown(operation: Operation) -> dict[str, str]:
    """The days that the page says of an operation, as its small form sends them along."""
    return in_form(DAYS_SHOWN, operation, prefix=f"surgery-{operation.id}-")


def patient_page(patient_id: int) -> str:
    with reading() as session:
        return render_patient(session, patient_id)


def not_right(patient_id: int, typed: Typed) -> Response:
    """The page once more, with what was typed and what is wrong. Nothing was saved."""
    with reading() as session:
        return make_response(render_patient(session, patient_id, typed=typed), 422)


def render_patient(session: Session, patient_id: int, *, typed: Typed | None = None) -> str:
    """The whole page of one patient; `typed` is a small form that was not right. 404 for a patient who is not there."""
    machine = runtime()
    record = read_record(session, patient_id, today=request_context().today)
    if record is None:
        abort(404)
    rulers = read_rulers(session, [side.shoulder for side in record.sides], today=request_context().today)
    changes = changes_of(record, machine.library)
    still_open, settled = flags_of(session, record.patient, machine.library, machine.keys.patient_cipher, record.staff)
    held = held_of(session, record.patient)
    course = course_chart(record, machine.library, zone=request_context().time_zone, today=request_context().today)
    return render_template(
        "staff/patient/patient.html",
        record=record,
        patient=record.patient,
        may_contact=may_contact(record.patient),
        may_be_called=may_contact(record.patient) and not _has_died(record.patient),
        no_take_home=why_no_page(record.patient),
        take_home_in=words.spoken().language_name(language_of(record.patient).language),
        chart=draw_chart(course) if course else None,
        answered=[step for side in record.sides for step in side.answered],
        has_spacer_time=bool(course and course.spacers),
        score_href=score_href,
        printed=format_score,
        kept_back=kept_back,
        says=summarise(record, machine.library, zone=request_context().time_zone),
        changes=changes,
        used=thresholds_used(changes),
        choice_rule=RULE,
        stated=bool(course and course.words),
        columns=table_headings(record, machine.library),
        descriptive=descriptive_note(record, machine.library),
        now=standings(
            record,
            changes,
            machine.library,
            flagged=[*(each.flag.kind for each in still_open), *(["held"] if held else [])],
            today=request_context().today,
        ),
        summary_of=summary_of_operation,
        strips=[(side, rulers[side.shoulder.id]) for side in record.sides],
        key=draw_key(),
        link=shown_link(find_live_link(session, record.patient)),
        tries=session.get(GateTries, record.patient.handle),
        story=story_of(session, record.patient, request_context().today),
        flags=still_open,
        death_sources=DEATH_SOURCES,
        held=held,
        pausing=PAUSING,
        settled=settled,
        attempts=_attempts(session, record.patient),
        attempt_form=attempt_form(session, record.patient.id, today=request_context().today, hidden=_way_back(typed)),
        tried=TRIED,
        dial=dialled(record.patient.phone or ""),
        history=_history(session, record),
        typed=typed or Typed(),
        facts_of=facts_of_operation,
        kinds=OPERATION_KINDS,
        contact_kept=contact_shown(record.patient),
        birth_kept=birth_shown(record.patient),
        days_kept=days_shown,
        moment=lambda at: words.moment(at, request_context().time_zone),
    )


def _way_back(typed: Typed | None) -> dict[str, str]:
    """A form that was sent from Today and was not right still leads back there."""
    place = place_in(typed.values) if typed else None
    return place.fields() if place else {}


def _has_died(patient: Patient) -> bool:
    """For sure; a death that is only said is checked by a call."""
    return patient.died_on is not None and patient.died_certainty != "reported"


def letter(patient_id: int) -> str:
    """The letter with the link, in the patient's language; to the representative where one answers."""
    with reading() as session:
        record = read_record(session, patient_id, today=request_context().today)
        link = shown_link(find_live_link(session, record.patient)) if record else None
        if record is None or link is None:
            abort(404)
        patient = record.patient
        patient_words = Words("patient", patient.language)
        return render_template(
            "staff/patient/letter.html",
            record=record,
            patient=patient,
            link=link,
            patient_words=patient_words,
            spoken_for=is_spoken_for(patient, request_context().today),
        )


def _attempts(session: Session, patient: Patient) -> list[ContactAttempt]:
    attempts = select(ContactAttempt).where(ContactAttempt.patient_id == patient.id).order_by(ContactAttempt.id.desc())
    return list(session.scalars(attempts.limit(HISTORY_SHOWN)))


def _history(session: Session, record: Record) -> list[tuple[Any, str]]:
    """What happened, newest first: changes of status, messages, as (instant, sentence)."""
    named = {
        step.timepoint.id: words.say(title(side.side, step.timepoint.code))
        for side in record.sides
        for step in side.steps
    }
    rows = session.execute(
        select(Transition)
        .join(Timepoint, Timepoint.id == Transition.timepoint_id)
        .where(Timepoint.patient_id == record.patient.id)
    ).scalars()
    in_error = words.gettext("Entered in error")  # what is not named belongs to an operation that was
    found = [
        (row.at, f"{named.get(row.timepoint_id, in_error)}: {_status(row)}{_by(row.by_id, record)}.") for row in rows
    ]
    messages = (
        select(Message)
        .join(Timepoint, Timepoint.id == Message.timepoint_id)
        .where(Timepoint.patient_id == record.patient.id)
    )
    for message in session.scalars(messages):
        if message.done_at is not None:
            about = named.get(message.timepoint_id, in_error)
            found.append((message.done_at, f"{about}: {_message(message)}."))
    found += [(each.at, _changed(each, record)) for each in read_changes(session, _rows(record), most=HISTORY_SHOWN)]
    return sorted(found, key=lambda each: each[0], reverse=True)[:HISTORY_SHOWN]


def _message(message: Message) -> str:
    """Such as "reminder 1 by letter, sent"."""
    return words.gettext("%(step)s by %(channel)s, %(outcome)s") % {
        "step": words.say(step_name(message.step)),
        "channel": words.say(words.CHANNEL.get(message.channel, message.channel)),
        "outcome": words.say(labels.MESSAGE.get(message.outcome or "", message.outcome or "")),
    }


def _rows(record: Record) -> list[tuple[str, int]]:
    return [("patient", record.patient.id), *(row for each in record.patient.shoulders for row in _rows_of(each))]


def _rows_of(shoulder: Shoulder) -> list[tuple[str, int]]:
    operations = shoulder.every_operation  # also what was entered in error: that it was, and why, stays told
    components = [each for operation in operations for each in operation.put_in]
    return [
        ("shoulder", shoulder.id),
        *(("operation", operation.id) for operation in operations),
        *(("component", each.id) for each in components),
    ]


def _changed(change: Change, record: Record) -> str:
    """A change of what is recorded, in words: what, from which value to which, why, by whom."""
    if change.field == CHECKED:
        return f"{_whose(change, record)}{words.say(change.label)}: {words.say(change.new)}{_by(change.by_id, record)}."
    why = f" ({change.why.rstrip('.')})" if change.why else ""
    if change.field == "taken_back_at":
        marked = words.gettext("Entered in error") if change.new else words.gettext("No error after all")
        return f"{_whose(change, record)}{marked}{why}{_by(change.by_id, record)}."
    old, new = (_value(change, value, record) for value in (change.old, change.new))
    became = words.gettext("%(what)s: %(old)s became %(new)s") % {
        "what": words.say(change.label),
        "old": old,
        "new": new,
    }
    return f"{_whose(change, record)}{became}{why}{_by(change.by_id, record)}."


def _value(change: Change, value: Phrase | str, record: Record) -> str:
    """A value as it was recorded; an operation that is named by its number is told by its day."""
    if change.field in NAMES_AN_OPERATION and value:
        operations = {str(each.id): each for side in record.sides for each in side.operations}
        known = operations.get(str(value))
        return words.exact_day(known.surgery_on, known.surgery_precision) if known else words.say(value)
    return words.quoted(value)


def _whose(change: Change, record: Record) -> str:
    sides = [each.side for each in record.patient.shoulders if change.row in _rows_of(each)]
    return f"{words.say(labels.SHOULDER[sides[0]])}, " if sides else ""


def _status(row: Transition) -> str:
    return words.say(labels.STATUS.get(row.status_after, row.status_after))


def _by(staff_id: int | None, record: Record) -> str:
    if not staff_id:
        return ""
    person = record.staff.get(staff_id, words.say(labels.ANSWERED_BY["staff"]))
    return words.gettext(", by %(person)s") % {"person": person}
