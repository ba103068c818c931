"""A text is checked against its definition item by item."""

from typing import Any

import pytest

from scoring.data_reader import DataProblem
from scoring.text import check_text, text_problems
from tests.scoring.making import text_data, trial


def of_item(name: str, **changes: Any) -> dict[str, Any]:
    items = text_data()["items"]
    return text_data(items=items | {name: items[name] | changes})


def without(name: str, member: str) -> dict[str, Any]:
    items = text_data()["items"]
    return text_data(items=items | {name: {key: value for key, value in items[name].items() if key != member}})


def test_a_text_that_fits_is_given_back() -> None:
    assert check_text(trial(), text_data(), "en.json") == text_data()


def test_a_licensed_text_is_told_by_its_id() -> None:
    text = text_data(kind="licensed", text_id="trial@1/en/licensed-2")
    assert check_text(trial(), text, "en.json")["kind"] == "licensed"


@pytest.mark.parametrize(
    ("data", "place", "reason"),
    [
        (text_data(instrument="trial@2"), "en.json instrument", 'must be trial@1, but is "trial@2"'),
        (text_data(language="English"), "en.json language", '"English" does not have the form it should have'),
        (text_data(text_id="trial@1/es/descriptive-1"), "en.json text_id", "must be trial@1/en/descriptive-NAME"),
        (text_data(kind="licensed"), "en.json text_id", "must be trial@1/en/licensed-NAME"),
        (text_data(title=""), "en.json title", '"" does not have the form it should have'),
        (text_data(title="Your {side} arm"), "en.json title", "{side} cannot stand here"),
        (
            text_data(colour="red"),
            "en.json colour",
            "is not understood here; known: text_id, instrument, language, kind, title, recall, items",
        ),
        (text_data(recall=""), "en.json recall", '"" does not have the form it should have'),
        (text_data(recall="Your {side} arm"), "en.json recall", "{side} cannot stand here"),
        (of_item("3", low="the {side}"), "en.json items 3 low", "{side} cannot stand here"),
        (of_item("3", not_applicable="the {side}"), "en.json items 3 not_applicable", "{side} cannot stand here"),
        (text_data(items={}), "en.json items 1", "is missing"),
        (
            text_data(items=text_data()["items"] | {"9": {}}),
            "en.json items 9",
            "is no item of trial@1; its items are 1, 1a, 2, 3, 4",
        ),
        (
            of_item("1", options={"1": "Yes", "\u0660": "No"}),
            r'en.json items 1 options "\u0660"',
            "is no code of item 1; its codes are 1, 0; write it in the digits 0 to 9",
        ),
        (
            text_data(items=text_data()["items"] | {"1\u0660": {}}),
            r'en.json items "1\u0660"',
            "is no item of trial@1; its items are 1, 1a, 2, 3, 4; write it in the digits 0 to 9",
        ),
        (of_item("1", options={"1": "No", "0": "No"}), "en.json items 1 options 0", "reads the same as 1"),
        (of_item("1", options={"1": "No", "0": "N\u200bO"}), "en.json items 1 options 0", "reads the same as 1"),
        (
            of_item("1", options={"1": "Not at all", "0": "not  at\u00a0all"}),
            "en.json items 1 options 0",
            "reads the same as 1",
        ),
        (of_item("1", options={"1": "\u00e9", "0": "e\u0301"}), "en.json items 1 options 0", "reads the same as 1"),
        *(
            (of_item("2", stem=f"How {sign}?"), "en.json items 2 stem", "holds a sign that no screen can show")
            for sign in ("\u2028", "\u2029", "\ue000", "\ufffe", "\u0378")
        ),
        *(
            (
                of_item("1", options={"1": "Yes", "0": f"{sign}oN"}),
                "en.json items 1 options 0",
                "holds a sign that turns the reading direction; the page does that by the language",
            )
            for sign in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
        ),
        (of_item("2", stem="\u200b"), "en.json items 2 stem", "holds nothing that can be seen"),
        (text_data(title="\u200d\u0301"), "en.json title", "holds nothing that can be seen"),
        (of_item("2", stem="How\u0000?"), "en.json items 2 stem", "holds a sign that no screen can show"),
        (of_item("2", hint="half \ud800"), "en.json items 2 hint", "holds a sign that no screen can show"),
        (of_item("1", options={"1": "Yes"}), "en.json items 1 options 0", "is missing; the codes of item 1 are 1, 0"),
        (
            of_item("1", options={"1": "Yes", "0": "No", "2": "?"}),
            "en.json items 1 options 2",
            "is no code of item 1; its codes are 1, 0",
        ),
        (
            of_item("1", options={"1": "Yes", "0": ""}),
            "en.json items 1 options 0",
            '"" does not have the form it should have',
        ),
        (of_item("1", options={"1": "Yes", "0": "No {side}"}), "en.json items 1 options 0", "{side} cannot stand here"),
        (of_item("1", low="none"), "en.json items 1 low", "belongs to a scale or an integer"),
        (
            of_item("1", not_applicable="n/a"),
            "en.json items 1 not_applicable",
            "is not understood here; known: stem, hint, low, high, options",
        ),
        (
            of_item("1a", options={"1": "Yes"}),
            "en.json items 1a options",
            "is not understood here; known: stem, hint, low, high",
        ),
        (
            of_item("2", stem="How is {name}?"),
            "en.json items 2 stem",
            "{name} is not understood; the only placeholder is {side}",
        ),
        (
            of_item("2", stem="How is {side?"),
            "en.json items 2 stem",
            "{side? is not understood; the only placeholder is {side}",
        ),
        (of_item("2", hint=" so "), "en.json items 2 hint", "begins or ends with a space"),
        (of_item("3", high=""), "en.json items 3 high", '"" does not have the form it should have'),
        (without("3", "low"), "en.json items 3 low", "is missing"),
        (without("3", "not_applicable"), "en.json items 3 not_applicable", "is missing"),
        (without("4", "stem"), "en.json items 4 stem", "is missing"),
    ],
)
def test_it_names_the_item_and_the_reason(data: object, place: str, reason: str) -> None:
    with pytest.raises(DataProblem) as caught:
        check_text(trial(), data, "en.json")
    assert caught.value.place == place
    assert caught.value.reason == reason


def test_no_side_may_be_named_where_the_instrument_has_none() -> None:
    with pytest.raises(DataProblem, match=r"items 1 stem: \{side\} cannot stand here"):
        check_text(trial(side=False), text_data(), "en.json")


def test_every_item_that_is_wrong_is_named_at_once() -> None:
    data = text_data(items=text_data()["items"] | {"1": {}, "3": {}, "8": {}})
    places = [problem.place for problem in text_problems(trial(), data, "en.json")]
    assert places == ["en.json items 8", "en.json items 1 stem", "en.json items 3 stem"]


def test_a_head_that_does_not_fit_is_told_alone() -> None:
    data = text_data(title="", items={})
    assert [problem.place for problem in text_problems(trial(), data, "en.json")] == ["en.json title"]


SCRIPTS = pytest.mark.parametrize(
    "words",
    [
        "\u05db\u05d0\u05d1\u200f (10)",
        "\u0645\u06cc\u200c\u0634\u0648\u062f",
        "\u0915\u094d\u200d\u0937",
        "7",
        "?",
        "\u2605",
    ],
)


@pytest.mark.parametrize("words", ["notable", "no table"])
def test_words_that_differ_by_a_space_are_told_apart(words: str) -> None:
    options = {"1": "not able", "0": words}
    assert check_text(trial(), of_item("1", options=options), "en.json")["items"]["1"]["options"] == options


@SCRIPTS
def test_signs_that_scripts_need_are_kept(words: str) -> None:
    """A mark of direction, a joiner and a non-joiner; figures, punctuation and symbols can be seen."""
    assert check_text(trial(), of_item("2", stem=words), "en.json")["items"]["2"]["stem"] == words
