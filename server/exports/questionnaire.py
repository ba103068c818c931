"""An instrument and its words as a FHIR R4 (4.0.1) Questionnaire, for systems of others. Pure: documents in, a document out.

Its addresses lie under a name that RFC 2606 keeps free for ever: nobody else can own it, and nobody takes it for a place where the
resource can be fetched. Codes are those of the definition, in code systems of the project's own; no LOINC or SNOMED code is claimed.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Any

from scoring.definition import Condition, Definition, Item

BASE = "https://yearmark.example/fhir"
EXTENSION = "http://hl7.org/fhir/StructureDefinition"
ITEM_CONTROL = "http://hl7.org/fhir/questionnaire-item-control"
UCUM = "http://unitsofmeasure.org"
UNITS = {"percent": "%", "weeks": "wk", "millimetres": "mm", "degrees": "deg", "grams": "g"}
TYPES = {"choice": "choice", "integer": "integer", "scale": "integer", "month": "date", "text": "text"}
RECALLS = {
    "now": "the present",
    "day": "the last day",
    "week": "the last week",
    "four_weeks": "the last four weeks",
    "since_last": "the time since the person last answered",
    "not_known": "a period that was not confirmed",
}
STATUSES = {
    "usable": "It can be sent to patients.",
    "needs_permission": "Its owner must give permission before it is used.",
    "unverified": "Its structure is not verified; it is not to be used.",
}
KINDS = {
    "descriptive": "Descriptive text: the project's own plain words for what each item asks, not the owner's authorised wording.",
    "licensed": "Licensed text: the owner's authorised wording, as the clinic installed it.",
}
OWN_FORM = "The project's own questions and words."
Resource = dict[str, Any]


def questionnaire(definition: Definition, text: Mapping[str, Any], *, side: str = "…") -> Resource:
    """`text` is a text document that fits the definition (scoring.text); `side` is put where it names the shoulder.

    No item is required. A blank that the instrument offers as not applicable is an option of its own, or, beside a
    number, a boolean item. Scoring, and what a phone does after a warning answer, have no place in the resource.
    """
    _spec, language, words = text["text_id"].split("/")
    slug = f"{definition.id}-{definition.version}-{language}-{words}"
    return {
        "resourceType": "Questionnaire",
        "id": slug,
        "language": text["language"],
        "url": f"{BASE}/Questionnaire/{definition.id}-{language}-{words}",
        "version": definition.version,
        "name": "Yearmark_" + re.sub(r"[^A-Za-z0-9]", "_", slug),
        "title": definition.title,
        "status": "active" if definition.status == "usable" else "draft",
        "subjectType": ["Patient"],
        "description": _description(definition, text, side),
        "copyright": _copyright(definition, text),
        "item": [
            {"linkId": "recall", "type": "display", "text": text["recall"]},
            *(made for item in definition.items for made in _items(definition, item, text["items"][item.item], side)),
        ],
    }


def _items(definition: Definition, item: Item, own: Mapping[str, Any], side: str) -> Iterator[Resource]:
    made: Resource = {"linkId": item.item, "text": own["stem"].replace("{side}", side), "type": TYPES[item.type]}
    condition = _condition(definition, item.asked_if)
    if extensions := [*_limits(item), *_unit(item)]:
        made["extension"] = extensions
    made |= condition | {"required": False}
    if item.type == "text":
        made["maxLength"] = item.max_length
    if options := list(_options(definition, item, own)):
        made["answerOption"] = options
    if shown := list(_beside(item, own, side)):
        made["item"] = shown
    yield made
    if item.not_applicable and item.type != "choice":
        words = own["not_applicable"]
        yield {"linkId": f"{item.item}-na", "text": words, "type": "boolean", **condition, "required": False}


def _options(definition: Definition, item: Item, own: Mapping[str, Any]) -> Iterator[Resource]:
    if item.type == "choice":
        for code in item.numbers:
            yield {"valueCoding": _coding(definition, item.item, str(code)) | {"display": own["options"][str(code)]}}
        if item.not_applicable:
            coding = _coding(definition, item.item, "not_applicable")
            yield {"valueCoding": coding | {"display": own["not_applicable"]}}
    elif isinstance(item.numbers, range) and item.numbers.step != 1:
        yield from ({"valueInteger": number} for number in item.numbers)


def _coding(definition: Definition, item: str, code: str) -> Resource:
    """A code means something within its item and version alone, so each has a system of its own."""
    return {"system": f"{BASE}/CodeSystem/{definition.id}-{definition.version}-{item}", "code": code}


def _condition(definition: Definition, asked_if: Condition | None) -> Resource:
    if asked_if is None:
        return {}
    codes = [number for number in definition.by_item[asked_if.item].numbers if number in asked_if.codes]
    when = [
        {"question": asked_if.item, "operator": "=", "answerCoding": _coding(definition, asked_if.item, str(code))}
        for code in codes
    ]
    return {"enableWhen": when} | ({"enableBehavior": "any"} if len(when) > 1 else {})


def _limits(item: Item) -> Iterator[Resource]:
    if isinstance(item.numbers, range) and item.numbers:
        yield {"url": f"{EXTENSION}/minValue", "valueInteger": item.numbers[0]}
        yield {"url": f"{EXTENSION}/maxValue", "valueInteger": item.numbers[-1]}


def _unit(item: Item) -> Iterator[Resource]:
    if item.unit:
        coding = {"system": UCUM, "code": UNITS[item.unit], "display": item.unit}
        yield {"url": f"{EXTENSION}/questionnaire-unit", "valueCoding": coding}


def _beside(item: Item, own: Mapping[str, Any], side: str) -> Iterator[Resource]:
    """The hint, and the words at the two ends of a scale."""
    if own["hint"]:
        yield {"linkId": f"{item.item}-hint", "text": own["hint"].replace("{side}", side), "type": "display"}
    for end, control in (("low", "lower"), ("high", "upper")):
        if own.get(end):
            concept = {"coding": [{"system": ITEM_CONTROL, "code": control}]}
            extension = {"url": f"{EXTENSION}/questionnaire-itemControl", "valueCodeableConcept": concept}
            yield {"extension": [extension], "linkId": f"{item.item}-{end}", "text": own[end], "type": "display"}


def _whose(definition: Definition, text: Mapping[str, Any]) -> str:
    return OWN_FORM if definition.kind == "form" else KINDS[text["kind"]]


def _description(definition: Definition, text: Mapping[str, Any], side: str) -> str:
    said = [_whose(definition, text), f"Text {text['text_id']}.", f"It asks about {RECALLS[definition.recall]}."]
    said.append(STATUSES[definition.status])
    if definition.side:
        said.append("It is about one shoulder" + ("; … stands for left or right." if side == "…" else f": {side}."))
    if found := [item.item for item in definition.items if item.found_by == "examiner"]:
        said.append(f"An examiner finds items {', '.join(found)}.")
    if naming := [item.item for item in definition.items if item.identifying]:
        said.append(f"Items {', '.join(naming)} may name a person.")
    warnings = [(item.item, sorted(item.warning)) for item in definition.items if item.warning]
    if listed := "; ".join(f"item {item}, code {', '.join(map(str, codes))}" for item, codes in warnings):
        said.append(f"Answers that may need care on the same day, which this resource does not mark: {listed}.")
    said.append("Scores are not part of this resource.")
    return " ".join(said)


def _copyright(definition: Definition, text: Mapping[str, Any]) -> str:
    needs = " Permission is needed." if definition.licence.needs_permission else ""
    said = f"{definition.title}: {definition.licence.terms}{needs} Source: {definition.licence.source}."
    return f"{_whose(definition, text)} {said}"
