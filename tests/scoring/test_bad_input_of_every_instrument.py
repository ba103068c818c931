"""Whatever the instrument: a bad answer or a bad text is refused, naming the item and what it allows."""

import json
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest

from scoring.answers import AnswerProblem, allowed, read_sheet
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


@every_instrument
@pytest.mark.parametrize(("value", "said"), BAD_VALUES.items(), ids=BAD_VALUES)
def test_a_bad_value_names_its_item_and_what_is_allowed(definition: Definition, value: str, said: str) -> None:
    for item in definition.items:
        with pytest.raises(AnswerProblem) as caught:
            score_document(library(), definition.spec, f'{{"answers": {{"{item.item}": {value}}}}}')
        assert str(caught.value) == f"item {item.item}: {said}; allowed: {words_for(item)}"


@every_instrument
@pytest.mark.parametrize("value", [True, 1.0, "1", 10**9, float("nan")], ids=repr)
def test_a_value_of_another_kind_than_a_number_is_refused_for_its_item(definition: Definition, value: object) -> None:
    sheet: dict[str, object] = {item.item: item.numbers[0] for item in definition.items}
    sheet[definition.items[-1].item] = value
    with pytest.raises(AnswerProblem) as caught:
        read_sheet(definition, sheet)
    assert list(caught.value.problems) == [f"item {definition.items[-1].item}"]


@every_instrument
@pytest.mark.parametrize("name", ["0", "100", "01", ARABIC_ONE, "", " 1"], ids=ascii)
def test_an_unknown_item_is_told_the_items_there_are(definition: Definition, name: str) -> None:
    with pytest.raises(AnswerProblem) as caught:
        score_document(library(), definition.spec, json.dumps({"answers": {name: 1}}))
    there_are = ", ".join(definition.by_item)
    assert str(caught.value) == f"item {json.dumps(name)}: is not an item of {definition.spec}; its items: {there_are}"


@every_instrument
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{"answers": {"1": 1, "1": 1}}', 'the key "1" stands there twice'),
        (f'{{"answers": {{"1": {ARABIC_ONE}}}}}', "not JSON: Expecting value in line 1, column 19"),
    ],
    ids=ascii,
)
def test_what_is_no_json_is_refused_with_the_reason(definition: Definition, text: str, said: str) -> None:
    with pytest.raises(AnswerProblem) as caught:
        score_document(library(), definition.spec, text)
    assert str(caught.value) == f"answers: {said}"


def shipped(definition: Definition) -> dict[str, Any]:
    return deepcopy(dict(library().texts(definition.spec)["en"]))


def refusal(definition: Definition, text: dict[str, Any]) -> str:
    with pytest.raises(DataProblem) as caught:
        check_text(definition, text, "en.json")
    return str(caught.value)


@every_definition
def test_a_text_without_one_of_its_items_names_it(definition: Definition) -> None:
    for name in definition.by_item:
        text = shipped(definition)
        del text["items"][name]
        assert refusal(definition, text) == f"en.json items {name}: is missing"


@every_definition
def test_a_text_with_an_item_too_many_names_it_and_the_items_there_are(definition: Definition) -> None:
    text = shipped(definition)
    text["items"]["99"] = {"stem": "More?", "hint": ""}
    known = ", ".join(definition.by_item)
    assert refusal(definition, text) == f"en.json items 99: is no item of {definition.spec}; its items are {known}"


@every_definition
def test_a_text_with_a_changed_code_names_the_item_and_the_codes_there_are(definition: Definition) -> None:
    for item in definition.items:
        if item.type == "choice":
            text = shipped(definition)
            options = text["items"][item.item]["options"]
            options["77"] = options.pop(str(item.numbers[0]))
            said = (
                f"en.json items {item.item} options 77: is no code of item {item.item}; its codes are {words_for(item)}"
            )
            assert refusal(definition, text) == said


@every_definition
def test_a_text_without_one_of_its_codes_names_the_item_and_the_code(definition: Definition) -> None:
    for item in definition.items:
        for code in item.numbers if item.type == "choice" else ():
            text = shipped(definition)
            del text["items"][item.item]["options"][str(code)]
            said = f"is missing; the codes of item {item.item} are {words_for(item)}"
            assert refusal(definition, text) == f"en.json items {item.item} options {code}: {said}"


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
