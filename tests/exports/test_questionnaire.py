"""Every instrument, in every language, is a FHIR R4 Questionnaire: by HL7's own schema and by the invariants beside it."""

import copy
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft6Validator

from scoring.definition import Definition
from scoring.library import load_library
from scoring.parse import parse_definition
from server.exports.questionnaire import BASE, RECALLS, TYPES, UNITS, questionnaire
from tests.exports.fhir_invariants import Resource, broken, items_of
from tests.scoring.making import definition_data

SCHEMA = json.loads(Path(__file__).with_name("fhir_r4_questionnaire.schema.json").read_text("utf-8"))
LIBRARY = load_library()
EVERY = [(spec, language) for spec in LIBRARY.definitions for language in LIBRARY.texts(spec)]
every = pytest.mark.parametrize(("spec", "language"), EVERY, ids=["/".join(pair) for pair in EVERY])
ADDRESSES = (BASE, "http://hl7.org/fhir/", "http://unitsofmeasure.org")


def made(spec: str, language: str = "en") -> Resource:
    return questionnaire(LIBRARY.instrument(spec), LIBRARY.texts(spec)[language])


def refused(resource: Resource) -> list[str]:
    """What HL7's schema says against it."""
    return [error.message for error in Draft6Validator(SCHEMA).iter_errors(resource)]


def item(resource: Resource, link: str) -> Resource:
    return next(found for found in items_of(resource) if found["linkId"] == link)


def words_of(resource: Resource) -> str:
    return json.dumps(resource, ensure_ascii=False)


@every
def test_hl7s_schema_of_r4_accepts_it(spec: str, language: str) -> None:
    assert refused(made(spec, language)) == []


@every
def test_it_breaks_no_invariant_of_questionnaire(spec: str, language: str) -> None:
    assert broken(made(spec, language)) == set()


def test_the_schema_is_one_that_can_be_used() -> None:
    Draft6Validator.check_schema(SCHEMA)
    assert SCHEMA["id"] == "http://hl7.org/fhir/json-schema/4.0"


Change = Callable[[Resource], Any]
AGAINST_THE_SCHEMA: dict[str, Change] = {
    "a status that R4 does not have": lambda it: it.update(status="finished"),
    "an element that R4 does not have": lambda it: it.update(question=[]),
    "another resource": lambda it: it.update(resourceType="Survey"),
    "no kind of resource": lambda it: it.pop("resourceType"),
    "an item type of R5": lambda it: item(it, "1").update(type="coding"),
    "a truth in quotes": lambda it: item(it, "1").update(required="false"),
    "a code with a space before it": lambda it: item(it, "1")["answerOption"][0]["valueCoding"].update(code=" 1"),
    "an operator that R4 does not have": lambda it: item(it, "1a")["enableWhen"][0].update(operator="is"),
    "a length in quotes": lambda it: item(it, "1b").update(maxLength="20"),
    "an extension without its address": lambda it: item(it, "3")["extension"][0].update(url=None),
    "one item instead of a list": lambda it: it.update(item=item(it, "1")),
}


@pytest.mark.parametrize("change", AGAINST_THE_SCHEMA.values(), ids=AGAINST_THE_SCHEMA)
def test_the_schema_refuses_one_that_is_broken(change: Change) -> None:
    resource = copy.deepcopy(made("since"))
    change(resource)
    assert refused(resource)


def condition(it: Resource) -> Resource:
    found: Resource = item(it, "1a")["enableWhen"][0]
    return found


def option(it: Resource) -> Resource:
    found: Resource = item(it, "1")["answerOption"][0]
    return found


AGAINST_AN_INVARIANT: list[tuple[str, Change]] = [
    ("que-0", lambda it: it.update(name="since last time")),
    ("que-0", lambda it: it.pop("name")),
    ("que-1", lambda it: item(it, "recall").update(item=[item(it, "1a-hint")])),
    ("que-1", lambda it: item(it, "6a").update(type="group", item=[])),
    ("que-2", lambda it: item(it, "2").update(linkId="1")),
    ("que-5", lambda it: item(it, "1").update(type="text")),
    ("que-6", lambda it: item(it, "recall").update(required=False)),
    ("que-7", lambda it: condition(it).update(operator="exists")),
    ("que-10", lambda it: item(it, "1a").update(maxLength=7)),
    ("que-12", lambda it: item(it, "1a")["enableWhen"].append(condition(it))),
    ("enableWhen.question", lambda it: condition(it).update(question="6")),
    ("enableWhen.question", lambda it: condition(it).update(question="7")),
    ("cardinality", lambda it: it.pop("status")),
    ("cardinality", lambda it: item(it, "2").pop("type")),
    ("cardinality", lambda it: item(it, "2").pop("linkId")),
    ("cardinality", lambda it: condition(it).pop("answerCoding")),
    ("cardinality", lambda it: condition(it).pop("operator")),
    ("cardinality", lambda it: option(it).update(valueInteger=1)),
    ("cardinality", lambda it: option(it).pop("valueCoding")),
    ("not used", lambda it: item(it, "1").update(initial=[{"valueBoolean": True}])),
    ("not used", lambda it: item(it, "recall").update(code=[])),
]


@pytest.mark.parametrize(("key", "change"), AGAINST_AN_INVARIANT)
def test_a_broken_invariant_is_seen(key: str, change: Change) -> None:
    resource = copy.deepcopy(made("since"))
    change(resource)
    assert key in broken(resource)


@every
def test_every_item_is_asked_in_its_words_and_none_is_required(spec: str, language: str) -> None:
    definition, text = LIBRARY.instrument(spec), LIBRARY.texts(spec)[language]
    resource = made(spec, language)
    asked = [one for one in resource["item"] if one["type"] not in ("display", "boolean")]
    assert [(one["linkId"], one["type"]) for one in asked] == [(one.item, TYPES[one.type]) for one in definition.items]
    for one, own in zip(asked, definition.items, strict=True):
        words = text["items"][own.item]
        assert one["text"] == words["stem"].replace("{side}", "…")
        assert one["required"] is False
        shown = [inner["text"] for inner in one.get("item", [])]
        assert shown == [words[part].replace("{side}", "…") for part in ("hint", "low", "high") if words.get(part)]
    assert "{" not in "".join(re.findall(r'"text": "([^"]*)"', words_of(resource)))


@every
def test_every_code_of_a_choice_is_an_option_with_its_words(spec: str, language: str) -> None:
    definition, text = LIBRARY.instrument(spec), LIBRARY.texts(spec)[language]
    resource = made(spec, language)
    assert definition.items
    for own in definition.items:
        codings = [each["valueCoding"] for each in item(resource, own.item).get("answerOption", [])]
        words = text["items"][own.item].get("options", {})
        expected = [(str(code), words[str(code)]) for code in own.numbers] if own.type == "choice" else []
        if own.type == "choice" and own.not_applicable:
            expected.append(("not_applicable", text["items"][own.item]["not_applicable"]))
        assert [(coding["code"], coding["display"]) for coding in codings] == expected
        assert {coding["system"] for coding in codings} <= {
            f"{BASE}/CodeSystem/{definition.id}-{definition.version}-{own.item}"
        }


def test_a_number_has_its_limits_and_its_unit() -> None:
    """hl7.org/fhir/R4/extension-minvalue.html: of the same data type as the item."""
    found = {one["url"].rsplit("/", 1)[1]: one for one in item(made("since"), "3")["extension"]}
    assert (found["minValue"]["valueInteger"], found["maxValue"]["valueInteger"]) == (0, 104)
    assert found["questionnaire-unit"]["valueCoding"]["code"] == "wk"
    ends = [
        (one["linkId"], one["extension"][0]["valueCodeableConcept"]["coding"][0]["code"])
        for one in item(made("pain"), "1")["item"]
    ]
    assert ends[-2:] == [("1-low", "lower"), ("1-high", "upper")]


def test_every_unit_has_a_code_of_ucum() -> None:
    used = {one.unit for definition in LIBRARY.definitions.values() for one in definition.items if one.unit}
    assert used <= set(UNITS)


def test_an_item_that_hangs_on_another_is_enabled_by_its_answer() -> None:
    resource = made("since")
    (when,) = item(resource, "1a")["enableWhen"]
    assert (when["question"], when["operator"]) == ("1", "=")
    assert when["answerCoding"] == {"system": option(resource)["valueCoding"]["system"], "code": "1"}


def test_what_may_name_a_person_is_a_text_of_limited_length_and_is_said_to_be_so() -> None:
    resource = made("since")
    assert [(item(resource, link)["type"], item(resource, link)["maxLength"]) for link in ("1b", "6b")] == [
        ("text", 200),
        ("text", 254),
    ]
    assert "Items 1b, 6a, 6b, 6c, 6d may name a person." in resource["description"]


def test_a_number_that_may_not_apply_has_a_boolean_beside_it() -> None:
    resource = made("since")
    links = [one["linkId"] for one in resource["item"]]
    assert links[links.index("3") + 1] == "3-na"
    assert (item(resource, "3-na")["type"], item(resource, "3-na")["text"]) == ("boolean", "Not yet")


@every
def test_it_says_what_text_it_is_what_it_looks_back_on_and_whose_it_is(spec: str, language: str) -> None:
    definition, resource = LIBRARY.instrument(spec), made(spec, language)
    said = f"{resource['description']} {resource['copyright']}"
    marked = "Descriptive text: the project's own plain words" in said
    assert marked == (definition.kind == "instrument")
    assert LIBRARY.texts(spec)[language]["text_id"] in said
    assert RECALLS[definition.recall] in said
    assert definition.licence.terms in resource["copyright"]
    assert (resource["status"] == "active") == (definition.status == "usable")
    assert (resource["version"], resource["subjectType"], resource["language"]) == (
        definition.version,
        ["Patient"],
        language,
    )


def test_a_licensed_text_is_marked_as_such_and_is_another_resource() -> None:
    definition, text = LIBRARY.instrument("oss"), LIBRARY.texts("oss")["en"]
    installed = questionnaire(definition, {**text, "kind": "licensed", "text_id": "oss@1/en/licensed-2027"})
    assert "Licensed text: the owner's authorised wording" in installed["description"]
    assert "Descriptive" not in installed["description"] + installed["copyright"]
    assert (installed["url"], installed["id"]) != (made("oss")["url"], made("oss")["id"])
    assert refused(installed) == []


def test_the_side_can_be_named() -> None:
    resource = questionnaire(LIBRARY.instrument("pain"), LIBRARY.texts("pain")["es"], side="izquierdo")
    assert "…" not in words_of(resource)
    assert "izquierdo" in item(resource, "1")["text"]


def test_no_two_share_an_address_an_id_or_a_name() -> None:
    all_of_them = [made(*pair) for pair in EVERY]
    assert [len({one[member] for one in all_of_them}) for member in ("id", "name")] == [len(EVERY)] * 2
    # Two versions of an instrument have one address, which the version completes.
    assert len({(one["url"], one["version"]) for one in all_of_them}) == len(EVERY)


@every
def test_no_code_of_another_owner_is_claimed(spec: str, language: str) -> None:
    found = re.findall(r'"(?:url|system)": "([^"]*)"', words_of(made(spec, language)))
    assert found
    assert [address for address in found if not address.startswith(ADDRESSES)] == []


def trial(items: list[dict[str, Any]]) -> tuple[Definition, dict[str, Any]]:
    definition = parse_definition(definition_data(kind="form", items=items, scales=[], thresholds=[]), "trial.json")
    options = {one["item"]: {str(code): f"word {code}" for code in one.get("codes", [])} for one in items}
    words = {
        one.item: {"stem": "What?", "hint": "", **({"options": options[one.item]} if options[one.item] else {})}
        for one in definition.items
    }
    text = {
        "text_id": f"{definition.spec}/en/descriptive-1",
        "language": "en",
        "kind": "descriptive",
        "recall": "Today",
        "items": words,
    }
    return definition, text


def test_steps_become_options_and_several_codes_that_enable_need_any_of_them() -> None:
    resource = questionnaire(
        *trial(
            [
                {"item": "1", "type": "choice", "codes": [2, 1, 0], "topic": "t"},
                {
                    "item": "2",
                    "type": "integer",
                    "min": 0,
                    "max": 30,
                    "step": 10,
                    "topic": "t",
                    "asked_if": {"item": "1", "codes": [0, 2]},
                },
            ]
        )
    )
    assert [each["valueInteger"] for each in item(resource, "2")["answerOption"]] == [0, 10, 20, 30]
    assert [when["answerCoding"]["code"] for when in item(resource, "2")["enableWhen"]] == ["2", "0"]
    assert item(resource, "2")["enableBehavior"] == "any"
    assert (refused(resource), broken(resource)) == ([], set())
