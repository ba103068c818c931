"""What the answers of a checked form come to: its scores, and what in them a person must look at."""

from collections.abc import Iterator
from dataclasses import dataclass

from scoring.definition import Definition
from scoring.library import Library
from server.forms.stored import StoredPart
from server.intake.check import CheckedForm
from server.intake.scores import ScoreRow, own_scores_of

# Answers of the project's own form that a person must follow up: item -> kind of flag, and the code that raises it.
FOLLOW_UP = {("since", "1"): ("operated_elsewhere", 1), ("since", "6"): ("contact_change", 1)}
# Events that a patient reports. One of the last two weeks is a safety answer to the item after it; any other is a flag of its own.
REPORTED = {("since", item): recent for item, recent in (("7", "7a"), ("8", "8a"), ("9", "9a"), ("10", "10a"))}


@dataclass(frozen=True)
class RaisedFlag:
    """`detail` is what the patient typed into an identifying item; it goes to a contact task, never to the response."""

    kind: str
    item: str
    detail: str | None = None


@dataclass(frozen=True)
class ScoredForm:
    form: CheckedForm
    scores: tuple[ScoreRow, ...]
    flags: tuple[RaisedFlag, ...]


def score_form(form: CheckedForm, library: Library) -> ScoredForm:
    flags = (*_identifying_flags(form, library), *_answer_flags(form, library))
    return ScoredForm(form, tuple(own_scores_of(form.answers.stored, form.source.answered_by, library)), flags)


def _identifying_flags(form: CheckedForm, library: Library) -> Iterator[RaisedFlag]:
    for given in form.answers.identifying:
        definition = library.instrument(given.instrument)
        condition = definition.by_item[given.item].asked_if
        kind, _code = FOLLOW_UP.get((definition.id, condition.item if condition else ""), ("contact_change", 1))
        yield RaisedFlag(kind, f"{given.instrument}/{given.item}", given.value)


def _answer_flags(form: CheckedForm, library: Library) -> Iterator[RaisedFlag]:
    for part in form.answers.stored.parts:
        definition = library.instrument(part.instrument)
        for name, answer in part.answers.items():
            if answer.state != "answered":
                continue
            if answer.value in definition.by_item[name].warning:
                yield RaisedFlag("safety_answer", f"{definition.spec}/{name}")
            kind, code = FOLLOW_UP.get((definition.id, name), ("", None))
            if kind and answer.value == code:
                yield RaisedFlag(kind, f"{definition.spec}/{name}")
            if answer.value == 1 and _is_of_long_ago(definition, name, part):
                yield RaisedFlag("event_reported", f"{definition.spec}/{name}")


def _is_of_long_ago(definition: Definition, name: str, part: StoredPart) -> bool:
    """Whether the item reports an event of which the next item does not say that it was in the last two weeks."""
    recent = REPORTED.get((definition.id, name))
    if recent is None or recent not in definition.by_item:
        return False
    answer = part.answers.get(recent)
    return answer is None or answer.state != "answered" or answer.value not in definition.by_item[recent].warning
