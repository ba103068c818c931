"""Whatever the instrument: a bad answer or a bad text is refused, naming the item and what it allows."""

import json
from collections.abc import Callable
from copy import deepcopy
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from scoring.answers import AnswerProblem, allowed
from scoring.data_reader import DataProblem
from scoring.definition import Definition, Item
from scoring.document import score_document
from scoring.library import read_library
from scoring.text import check_text
from tests.scoring.making import definition_data, library, text_data
from tests.scoring.test_score_properties import every_instrument

every_definition = pytest.mark.parametrize(
    "definition", library().definitions.values(), ids=library().definitions.keys()
)
ARABIC_ONE = "\u0661"
# What takes the place of an answer, as it stands in JSON, and what is said of it.
BAD_VALUES = {
    '"1"': "a text is not a number",
    f'"{ARABIC_ONE}"': "a text is not a number",
    "3.7": "3.7 is not a whole number",
    "1.0": "1.0 is not a whole number",
    "1e1": "10.0 is not a whole number",
    "true": "true is not a number",
    "[1]": "is not a number",
    "{}": "is not a number",
    "NaN": "NaN is not a finite number",
    "-Infinity": "-Infinity is not a finite number",
    "1e999": "Infinity is not a finite number",
    "-100000": "-100000 is not allowed",
    "100001": "100001 is not allowed",
}


def words_for(item: Item) -> str:
    """What an item allows, as a person would say it."""
    if isinstance(item.numbers, range):
        return f"whole numbers from {min(item.numbers)} to {max(item.numbers)}"
    return ", ".join(map(str, item.numbers))


def sheet_refusal(spec: str, text: str) -> str:
    with pytest.raises(AnswerProblem) as caught:
        score_document(library(), spec, text)
    return str(caught.value)


@every_instrument
def test_a_bad_value_names_its_item_and_what_is_allowed(definition: Definition) -> None:
    refusals, expected = {}, {}
    for item, (value, fault) in product(definition.items, BAD_VALUES.items()):
        refusals[item.item, value] = sheet_refusal(definition.spec, f'{{"answers": {{"{item.item}": {value}}}}}')
        expected[item.item, value] = f"item {item.item}: {fault}; allowed: {words_for(item)}"
    assert refusals == expected
    assert len(refusals) == len(definition.items) * len(BAD_VALUES) > 0


@every_instrument
def test_an_unknown_item_is_told_the_items_there_are(definition: Definition) -> None:
    names = ("0", "100", "01", ARABIC_ONE, "", " 1")
    refusals = [sheet_refusal(definition.spec, json.dumps({"answers": {name: 1}})) for name in names]
    known = f"is not an item of {definition.spec}; its items: {', '.join(definition.by_item)}"
    assert refusals == [f"item {json.dumps(name)}: {known}" for name in names]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{"answers": {"1": 1, "1": 1}}', 'the key "1" stands there twice'),
        (f'{{"answers": {{"1": {ARABIC_ONE}}}}}', "not JSON: Expecting value in line 1, column 19"),
    ],
    ids=ascii,
)
def test_what_is_no_json_is_refused_with_the_reason(text: str, said: str) -> None:
    assert sheet_refusal("sst@1", text) == f"answers: {said}"


def shipped(definition: Definition) -> dict[str, Any]:
    return deepcopy(dict(library().texts(definition.spec)["en"]))


def refusal(definition: Definition, text: dict[str, Any]) -> str:
    with pytest.raises(DataProblem) as caught:
        check_text(definition, text, "en.json")
    return str(caught.value)


@every_definition
def test_a_text_without_one_of_its_items_names_it(definition: Definition) -> None:
    refusals = {}
    for name in definition.by_item:
        text = shipped(definition)
        del text["items"][name]
        refusals[name] = refusal(definition, text)
    assert refusals == {name: f"en.json items {name}: is missing" for name in definition.by_item} != {}


@every_definition
def test_a_text_with_an_item_too_many_names_it_and_the_items_there_are(definition: Definition) -> None:
    text = shipped(definition)
    text["items"]["99"] = {"stem": "More?", "hint": ""}
    known = ", ".join(definition.by_item)
    assert refusal(definition, text) == f"en.json items 99: is no item of {definition.spec}; its items are {known}"


@every_definition
def test_a_text_with_a_changed_code_names_the_item_and_the_codes_there_are(definition: Definition) -> None:
    refusals = {}
    for item in choices(definition):
        options = options_of(definition, item)
        options["77"] = options.pop(str(item.numbers[0]))
        refusals[item.item] = refusal(definition, with_options(definition, item, options))
    assert refusals == {
        item.item: f"en.json items {item.item} options 77: is no code of item {item.item}; its codes are {words_for(item)}"
        for item in choices(definition)
    }


@every_definition
def test_a_text_without_one_of_its_codes_names_the_item_and_the_code(definition: Definition) -> None:
    refusals, expected = {}, {}
    for item in choices(definition):
        for code in item.numbers:
            options = options_of(definition, item)
            del options[str(code)]
            refusals[item.item, code] = refusal(definition, with_options(definition, item, options))
            missing = f"is missing; the codes of item {item.item} are {words_for(item)}"
            expected[item.item, code] = f"en.json items {item.item} options {code}: {missing}"
    assert refusals == expected


def options_of(definition: Definition, item: Item) -> dict[str, str]:
    return dict(library().texts(definition.spec)["en"]["items"][item.item]["options"])


def with_options(definition: Definition, item: Item, options: dict[str, str]) -> dict[str, Any]:
    """The shipped text with other options of one item."""
    text = dict(library().texts(definition.spec)["en"])
    return text | {"items": text["items"] | {item.item: text["items"][item.item] | {"options": options}}}


def choices(definition: Definition) -> list[Item]:
    return [item for item in definition.items if item.type == "choice"]


def test_most_instruments_have_items_with_codes() -> None:
    assert sum(bool(choices(definition)) for definition in library().definitions.values()) > 10


def spoilt(old: str, new: str) -> Callable[[str], str]:
    def spoil(text: str) -> str:
        assert old in text
        return text.replace(old, new, 1)

    return spoil


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (spoilt('"stem":', '"hint": "", "stem":'), 'the key "hint" stands there twice'),
        (spoilt('"1": {"stem"', '"1": {"stem": NaN, "stem"'), "NaN is not a number"),
        (spoilt('"title": "Trial"', f'"title": {ARABIC_ONE}'), "not JSON: Expecting value in line 1, column"),
    ],
)
def test_a_text_file_that_is_no_strict_json_is_named(tmp_path: Path, spoil: Callable[[str], str], said: str) -> None:
    for name, data in (("definition.json", json.dumps(definition_data())), ("text/en.json", json.dumps(text_data()))):
        path = tmp_path / "trial" / "1" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(spoil(data) if name == "text/en.json" else data, "utf-8")
    with pytest.raises(DataProblem) as caught:
        read_library(tmp_path)
    assert str(caught.value).startswith(f"trial/1/text/en.json: {said}")


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        (range(11), "whole numbers from 0 to 10"),
        (range(0, 101, 5), "whole numbers from 0 to 100 in steps of 5"),
        (range(-4, 7, 2), "whole numbers from -4 to 6 in steps of 2"),
        ((1, 0), "1, 0"),
    ],
)
def test_what_is_allowed_is_said_in_words(numbers: Any, words: str) -> None:
    assert allowed(Item("1", "choice", "topic", numbers)) == words
