"""Checks the parts of a form as a phone or a member of staff hands them in (server/sync/PROTOCOL.md, section 4)."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from scoring.answers import STATES, Answer, AnswerProblem, Problems, is_asked, value_problem
from scoring.definition import Item
from scoring.library import Library
from scoring.strict_json import shown
from server.forms.asked import AskedPart
from server.forms.instant import read_instant
from server.forms.stored import StoredAnswer, StoredAnswers, StoredPart

_TEXT_ID = re.compile("[!-~]{1,80}")


@dataclass(frozen=True)
class IdentifyingAnswer:
    """What a person typed into an item that can name somebody, such as `("since@1", "6a", "555 0100")`."""

    instrument: str
    item: str
    value: str


@dataclass(frozen=True)
class CheckedAnswers:
    """Answers that fit their form. `stored` holds no identifying value; those are in `identifying` alone."""

    stored: StoredAnswers
    identifying: tuple[IdentifyingAnswer, ...]


def check_answers(
    library: Library, asked: Sequence[AskedPart], given: object, *, today: date | None = None
) -> CheckedAnswers:
    """`given` is whatever came in. A month after `today` is a fault. Members that the protocol does not name are left out.

    Raises AnswerProblem with every fault by its place: `parts`, `sst@1` or `sst@1/7`. Its messages repeat numbers and the names of
    items, never a text.
    """
    specs = [part.instrument for part in asked]
    documents = given if isinstance(given, list) else []
    if [each.get("instrument") if isinstance(each, dict) else None for each in documents] != specs:
        raise AnswerProblem({"parts": [f"must be {', '.join(specs)} in this order"]})
    problems: Problems = {}
    for part, document in zip(asked, documents, strict=True):
        by_item = library.instrument(part.instrument).by_item
        for place, fault in _part_faults(part.instrument, [by_item[name] for name in part.items], document, today):
            problems.setdefault(place, []).append(fault)
    if problems:
        raise AnswerProblem(problems)
    return CheckedAnswers(
        StoredAnswers(tuple(_stored_part(library, document) for document in documents)),
        tuple(each for document in documents for each in _identifying(library, document)),
    )


def _stored_part(library: Library, document: Mapping[str, Any]) -> StoredPart:
    by_item = library.instrument(document["instrument"]).by_item
    answers = {
        name: StoredAnswer(
            answer["state"],
            None if by_item[name].identifying else answer.get("value"),
            answer.get("first_at"),
            answer.get("last_at"),
        )
        for name, answer in document["answers"].items()
    }
    return StoredPart(document["instrument"], document["text_id"], answers)


def _identifying(library: Library, document: Mapping[str, Any]) -> Iterator[IdentifyingAnswer]:
    by_item = library.instrument(document["instrument"]).by_item
    for name, answer in document["answers"].items():
        if by_item[name].identifying and answer["state"] == "answered":
            yield IdentifyingAnswer(document["instrument"], name, str(answer["value"]))


def _part_faults(
    spec: str, items: Sequence[Item], document: Mapping[str, Any], today: date | None
) -> list[tuple[str, str]]:
    faults: list[tuple[str, str]] = []
    text_id = document.get("text_id")
    if not isinstance(text_id, str) or not _TEXT_ID.fullmatch(text_id) or not text_id.startswith(f"{spec}/"):
        faults.append((spec, f"text_id must name a text of {spec}"))
    answers = document.get("answers")
    if not isinstance(answers, dict):
        return [*faults, (spec, "answers must be an object")]
    names = [item.item for item in items]
    faults += [(spec, f"{shown(name)} is not an item of this form") for name in answers if name not in names]
    sound: dict[str, Answer] = {}
    for item in items:
        found = _answer_faults(item, answers.get(item.item), sound, today)
        faults += [(f"{spec}/{item.item}", fault) for fault in found]
        if not found:
            sound[item.item] = Answer(answers[item.item]["state"], answers[item.item].get("value"))
    return faults


def _answer_faults(item: Item, answer: object, earlier: Mapping[str, Answer], today: date | None) -> list[str]:
    if answer is None:
        return ["has no answer"]
    if not isinstance(answer, dict):
        return ["must be an object"]
    state = answer.get("state")
    if state not in STATES:
        return [f"state {shown(state)} is none of {', '.join(STATES)}"]
    moments = [key for key in ("first_at", "last_at") if key in answer]
    faults = [f"{key} is not an instant" for key in moments if read_instant(answer[key]) is None]
    if state == "answered":
        fault = value_problem(item, answer.get("value"), today=today)
        faults += [fault] if fault else []
    elif "value" in answer:
        faults.append(f"{state} cannot have a value")
    if state == "not_applicable" and not item.not_applicable:
        faults.append("does not offer not_applicable")
    return faults + _condition_faults(item, state, earlier)


def _condition_faults(item: Item, state: str, earlier: Mapping[str, Answer]) -> list[str]:
    """`skipped` exactly where the condition was not met; a form may be finished before either was known."""
    if state == "not_reached" or (item.asked_if is not None and item.asked_if.item not in earlier):
        return []
    if is_asked(item, earlier):
        return ["cannot be skipped: it was to be asked"] if state == "skipped" else []
    return [] if state == "skipped" else ["must be skipped: it was not to be asked"]
