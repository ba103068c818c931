"""What HL7's JSON schema of FHIR R4 does not check: the invariants of Questionnaire, and the elements that must be there.

Keys and rules are those of the page and the StructureDefinition of Questionnaire, FHIR 4.0.1 (hl7.org/fhir/R4/questionnaire.html).
Elements that no instrument uses (answerValueSet, initial, readOnly, code) are reported as `not used` should one appear, so that
que-3, que-4, que-8, que-9, que-11 and que-13, which speak of them alone, cannot be broken unseen.
"""

import re
from collections.abc import Iterator
from typing import Any

Resource = dict[str, Any]
NOT_USED = ("answerValueSet", "initial", "readOnly", "code", "contained")
WITH_OPTIONS = {"choice", "open-choice", "decimal", "integer", "date", "dateTime", "time", "string", "quantity"}
WITH_LENGTH = {"boolean", "decimal", "integer", "string", "text", "url", "open-choice"}


def items_of(resource: Resource) -> Iterator[Resource]:
    for item in resource.get("item", []):
        yield item
        yield from items_of(item)


def broken(resource: Resource) -> set[str]:
    """The keys of what the resource breaks."""
    items = list(items_of(resource))
    found = {key for item in items for key in broken_by(item)}
    if not re.fullmatch("[A-Z]([A-Za-z0-9_]){0,254}", resource.get("name", "")):
        found.add("que-0")
    ids = [item.get("linkId") for item in items]
    if len(ids) != len(set(ids)):
        found.add("que-2")
    if "status" not in resource:
        found.add("cardinality")
    asked: set[Any] = set()
    for item in items:
        # "enableWhen.question: the linkId for the question whose answer governs", which must come before it here.
        if any(when.get("question") not in asked for when in item.get("enableWhen", [])):
            found.add("enableWhen.question")
        asked.add(item.get("linkId"))
    return found


def broken_by(item: Resource) -> Iterator[str]:
    kind, options, when = item.get("type"), item.get("answerOption", []), item.get("enableWhen", [])
    if (kind == "group" and not item.get("item")) or (kind == "display" and item.get("item")):
        yield "que-1"
    if options and kind not in WITH_OPTIONS:
        yield "que-5"
    if kind == "display" and ("required" in item or "repeats" in item):
        yield "que-6"
    if any(each.get("operator") == "exists" and "answerBoolean" not in each for each in when):
        yield "que-7"
    if "maxLength" in item and kind not in WITH_LENGTH:
        yield "que-10"
    # The rule in words; its expression in 4.0.1 says "> 2".
    if len(when) > 1 and "enableBehavior" not in item:
        yield "que-12"
    if any(name in item for name in NOT_USED):
        yield "not used"
    if not {"linkId", "type"} <= set(item) or not all(values(each, "value") == 1 for each in options):
        yield "cardinality"
    if not all({"question", "operator"} <= set(each) and values(each, "answer") == 1 for each in when):
        yield "cardinality"


def values(element: Resource, stem: str) -> int:
    """How many of value[x] or answer[x] it has."""
    return sum(bool(re.fullmatch(rf"{stem}[A-Z]\w*", name)) for name in element)
