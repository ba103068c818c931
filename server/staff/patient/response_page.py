"""The answers behind a score: every item with its topic, what was answered, and how it got here. Opens the patient's own key."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from flask import abort, render_template
from sqlalchemy.orm import Session

from scoring.definition import Definition, Item
from scoring.library import Library
from server.clinic.reported_events import made_of, reportable
from server.crypto.fields import FieldProblem
from server.forms.stored import StoredAnswer, StoredAnswersProblem, StoredPart, open_answers
from server.models import ClinicFinding, Patient, Response, Score, Shoulder, Timepoint
from server.models.response import FOR_THE_PATIENT
from server.queries.chosen import language_of, words_shown
from server.queries.clock import clinic_day, the_clinic
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.page.request_context import request_context, runtime
from server.staff.page.rule_text import blanks_rule
from server.staff.page.staff_names import staff_names
from server.staff.patient.score_explanation import Explanation, earlier_of, explanations
from server.trust.keys import KeyMissing
from server.words import labels
from server.words.languages import direction_of


@dataclass(frozen=True)
class Row:
    item: str
    topic: str
    said: str
    code: str
    state: str
    event: str  # names the item where one click makes an event of the answer; else empty


@dataclass(frozen=True)
class Part:
    """One instrument of a form, each scale with its explanation. `descriptive`: asked in the project's words, not the owner's.

    `language` and `direction` are those of the words in which its answers are shown.
    """

    definition: Definition
    text_id: str
    descriptive: bool
    language: str
    direction: str
    rows: tuple[Row, ...]
    scales: tuple[Explanation, ...]

    @property
    def earlier(self) -> list[tuple[str, Score]]:
        """Scores that a later scoring replaced, each with the title of its scale."""
        return [(each.scale.title, score) for each in self.scales for score in each.earlier]


def response_page(response_id: int) -> str:
    """The page of one response: its answers, and each score with its explanation. 404 for a response that is not there."""
    machine = runtime()
    with reading() as session:
        response = session.get(Response, response_id)
        if response is None:
            abort(404)
        patient = session.get_one(Patient, response.patient_id)
        timepoint = session.get(Timepoint, response.timepoint_id) if response.timepoint_id else None
        finding = session.get(ClinicFinding, response.finding_id) if response.finding_id else None
        unread = ""
        try:
            answers = open_answers(response.answers, machine.keys.patient_cipher(patient.handle))
            parts = [_part(session, machine.library, part, response) for part in answers.parts]
        except KeyMissing:
            parts, unread = [], _unread(patient, "key")
        except (FieldProblem, StoredAnswersProblem):
            parts, unread = [], _unread(patient, "altered")
        return render_template(
            "staff/patient/response.html",
            response=response,
            events=made_of(session, response.id),
            patient=patient,
            timepoint=timepoint,
            finding=finding,
            finished=_finished(session, response),
            side=_side(session, timepoint, finding),
            parts=parts,
            unread=unread,
            earlier=[(f"{each.instrument} {each.scale}", each) for each in earlier_of(response.scores)],
            blanks_rule=blanks_rule,
            staff=staff_names(session),
            moment=lambda at: words.moment(at, request_context().time_zone),
        )


def _finished(session: Session, response: Response) -> str:
    """Of a form taken at a visit the day alone: its hour was not asked."""
    if response.finding_id is not None:
        return words.day(clinic_day(the_clinic(session), response.finished_at))
    return words.moment(response.finished_at, request_context().time_zone)


def _side(session: Session, timepoint: Timepoint | None, finding: ClinicFinding | None) -> str:
    """A form answers a timepoint, or it was taken at a visit."""
    if timepoint is not None:
        return timepoint.follow_up.operation.shoulder.side
    return session.get_one(Shoulder, finding.shoulder_id if finding else 0).side


def _unread(patient: Patient, why: str) -> str:
    """Why the answers are not shown. Erased is what the patient's row says, never a guess from a missing key."""
    if patient.erased_at is not None:
        on = words.day(patient.erased_at.astimezone(ZoneInfo(request_context().time_zone)).date())
        return words.gettext(
            "The answers of this patient were erased on %(day)s, with the key that opened them. The scores are still here."
        ) % {"day": on}
    if why == "key":
        return words.gettext(
            "The answers cannot be read now: the key of this patient is not in the key folder. Tell the data manager, "
            "who brings it back from its backup. Nothing is lost."
        )
    return words.gettext(
        "The answers do not open under this patient's key: key or answers were altered. Tell the data manager; "
        "a backup may hold them whole."
    )


def _part(session: Session, library: Library, part: StoredPart, response: Response) -> Part:
    definition = library.instrument(part.instrument)
    text = words_shown(session, library, definition, part.text_id)
    rows = tuple(
        _row(definition.spec, definition.by_item.get(item), item, answer, text) for item, answer in part.answers.items()
    )
    scores = [each for each in response.scores if each.instrument == definition.id]
    own = response.answered_by != FOR_THE_PATIENT
    scales = explanations(definition, part.answers, scores) if own else ()
    text_id, language = part.text_id, language_of(part.text_id)
    return Part(definition, text_id, "/descriptive-" in text_id, language, direction_of(language), rows, scales)


def _row(spec: str, item: Item | None, name: str, answer: StoredAnswer, text: Mapping[str, Any]) -> Row:
    state, value = answer.state, answer.value
    topic = item.topic if item else words.gettext("not in this version of the definition")
    if state == "not_applicable":
        said = text.get(name, {}).get("not_applicable", words.say(labels.ITEM_STATE[state]))
    elif state != "answered":
        said = words.say(labels.ITEM_STATE.get(state, words.plain(state)))
    elif item is not None and item.identifying:
        said = words.gettext("given; kept with what is to be checked, apart from the answers")
    else:
        said = text.get(name, {}).get("options", {}).get(str(value)) or _with_unit(item, value)
    event = reported(f"{spec}/{name}") if state == "answered" and value not in (0, None) else ""
    code = str(value) if state == "answered" and item is not None and item.type == "choice" else ""
    return Row(name, topic, said, code, state, event)


def reported(item: str) -> str:
    """The item itself where it reports an event; "in the last two weeks" belongs to the item before it."""
    return item if reportable(item) == item else ""


def _with_unit(item: Item | None, value: object) -> str:
    unit = item.unit if item else None
    return f"{value} %" if unit == "percent" else f"{value} {unit}" if unit else str(value)
