"""The parts of a form as a phone or a member of staff hands them in (server/sync/PROTOCOL.md, section 4)."""

import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from scoring.answers import STATES, Answer, AnswerProblem, Problems, is_asked, value_problem
from scoring.definition import Definition, Item
from scoring.library import Library
from scoring.score import ScaleScore, score
from scoring.strict_json import shown

Parts = Sequence[Mapping[str, Any]]

_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", re.ASCII)
_TEXT_ID = re.compile("[!-~]{1,80}")


def check_parts(
    library: Library, parts_expected: Parts, parts_given: object, *, today: date | None = None
) -> dict[str, list[str]]:
    """Every fault of the parts given, by place: `parts`, `sst@1` or `sst@1/7`. Empty when there is none.

    `parts_expected` is the form's `parts` of the due sheet; `parts_given` is whatever came in. A month after `today` is
    a fault. Members that the protocol does not name are passed over, and so is the order of items within a part.
    The messages repeat numbers and the names of items, never a text.
    """
    specs = [part["instrument"] for part in parts_expected]
    given_specs = [part.get("instrument") if isinstance(part, dict) else None for part in _list(parts_given)]
    if given_specs != specs:
        return {"parts": [f"must be {', '.join(specs)} in this order"]}
    problems: Problems = {}
    for expected, given in zip(parts_expected, _list(parts_given), strict=True):
        definition = library.instrument(expected["instrument"])
        items = [definition.by_item[name] for name in expected["items"]]
        for place, fault in _part_faults(definition, items, given, today):
            problems.setdefault(place, []).append(fault)
    return problems


def score_parts(library: Library, parts: Parts) -> list[ScaleScore]:
    """The scores of parts that `check_parts` found without fault, in their order; forms have none."""
    results: list[ScaleScore] = []
    for part in parts:
        results += score_part(library.instrument(part["instrument"]), part["answers"])
    return results


def score_part(definition: Definition, answers: Mapping[str, Mapping[str, Any]]) -> tuple[ScaleScore, ...]:
    """The scores of one part's answers, `{"7": {"state": "answered", "value": 1}, …}`; none for a form.

    Raises AnswerProblem for an answer that the definition does not accept.
    """
    if not definition.scales:
        return ()
    sheet: dict[str, Answer] = {}
    problems: Problems = {}
    for name, each in answers.items():
        sheet[name] = answer = Answer(each["state"], each.get("value"))
        if answer.state == "answered" and (fault := _unfit(definition, name, answer.value)):
            problems[f"item {name if name in definition.by_item else shown(name)}"] = [fault]
    if problems:
        raise AnswerProblem(problems)
    return score(definition, sheet)


def _unfit(definition: Definition, name: str, value: object) -> str | None:
    item = definition.by_item.get(name)
    if item is None:
        return f"is not an item of {definition.spec}"
    return None if item.identifying else value_problem(item, value)  # what names a person is not kept with the answers


def split_identifying(library: Library, parts: Parts) -> tuple[list[dict[str, Any]], list[tuple[str, str, str]]]:
    """Takes what could name a person out of checked parts.

    Returns the parts with only the members the protocol names and without identifying values (the state stays), and
    the values taken out as `(instrument, item, value)`, such as `("since@1", "6a", "555 0100")`.
    """
    kept: list[dict[str, Any]] = []
    taken: list[tuple[str, str, str]] = []
    for part in parts:
        by_item = library.instrument(part["instrument"]).by_item
        answers: dict[str, dict[str, Any]] = {}
        for name, answer in part["answers"].items():
            members = ["state", "value", "first_at", "last_at"]
            if by_item[name].identifying:
                members.remove("value")
                if answer["state"] == "answered":
                    taken.append((part["instrument"], name, str(answer["value"])))
            answers[name] = {member: answer[member] for member in members if member in answer}
        kept.append({"instrument": part["instrument"], "text_id": part["text_id"], "answers": answers})
    return kept, taken


def _list(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def _part_faults(
    definition: Definition, items: Sequence[Item], part: Mapping[str, Any], today: date | None
) -> list[tuple[str, str]]:
    spec = definition.spec
    faults: list[tuple[str, str]] = []
    text_id = part.get("text_id")
    if not isinstance(text_id, str) or not _TEXT_ID.fullmatch(text_id) or not text_id.startswith(f"{spec}/"):
        faults.append((spec, f"text_id must name a text of {spec}"))
    answers = part.get("answers")
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
    faults = [f"{key} is not an instant" for key in moments if not _instant(answer[key])]
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


def _instant(value: object) -> bool:
    if not isinstance(value, str) or not _INSTANT.fullmatch(value):
        return False
    try:
        datetime.fromisoformat(value)
    except ValueError:
        return False
    return True
