"""A member of a data file is of its type and within its limits, or refused with its place."""

from collections.abc import Callable
from typing import Any

import pytest

from scoring.data_reader import DataProblem, Node


def node(value: Any) -> Node:
    return Node({"key": value}, "file.json")


READERS: dict[str, Callable[[Node], object]] = {
    "text": lambda each: each.text("key"),
    "text, may be empty": lambda each: each.text("key", may_be_empty=True),
    "word": lambda each: each.word("key", ("up", "down")),
    "flag": lambda each: each.flag("key"),
    "whole": lambda each: each.whole("key", -3, 3),
    "number": lambda each: each.number("key"),
    "list": lambda each: each.list("key"),
    "list, may be empty": lambda each: each.list("key", may_be_empty=True),
    "codes": lambda each: each.codes("key"),
    "texts": lambda each: each.texts("key"),
    "nodes": lambda each: [(one.data, one.place) for one in each.nodes("key")],
    "node": lambda each: (each.node("key").data, each.node("key").place),
}


@pytest.mark.parametrize(
    ("reader", "value", "found"),
    [
        ("text", "x" * 500, "x" * 500),
        ("text, may be empty", "", ""),
        ("word", "down", "down"),
        ("flag", False, False),
        ("whole", -3, -3),
        ("whole", 3, 3),
        ("number", 2.5, 2.5),
        ("number", 0, 0),
        ("list", [0], [0]),
        ("list, may be empty", [], []),
        ("codes", [1000, -1000], (1000, -1000)),
        ("texts", ["a", "b"], ("a", "b")),
        ("nodes", [{"a": 1}], [({"a": 1}, "file.json key[0]")]),
        ("node", {}, ({}, "file.json key")),
    ],
)
def test_what_fits_is_given_back(reader: str, value: Any, found: object) -> None:
    assert READERS[reader](node(value)) == found


@pytest.mark.parametrize(
    ("reader", "value", "said"),
    [
        ("text", "x" * 501, f'key: "{"x" * 38}… does not have the form it should have'),
        ("text", "", 'key: "" does not have the form it should have'),
        ("text", "two\nlines", 'key: "two\\nlines" does not have the form it should have'),
        ("text", None, "key: must be a text"),
        ("text, may be empty", 0, "key: must be a text"),
        ("word", "left", 'key: "left" is none of up, down'),
        ("flag", 0, "key: must be true or false"),
        ("whole", 4, "key: must be a whole number from -3 to 3"),
        ("whole", -4, "key: must be a whole number from -3 to 3"),
        ("whole", True, "key: must be a whole number from -3 to 3"),
        ("whole", 1.0, "key: must be a whole number from -3 to 3"),
        ("number", "1", "key: must be a number"),
        ("number", True, "key: must be a number"),
        ("list", [], "key: must be a list with something in it"),
        ("list", {"a": 1}, "key: must be a list with something in it"),
        ("list, may be empty", {}, "key: must be a list"),
        ("codes", [1, 1001], "key[1]: must be a whole number from -1000 to 1000"),
        ("codes", [1, 1], "key: holds something twice"),
        ("texts", ["a", ""], "key[1]: must be a text"),
        ("texts", [1], "key[0]: must be a text"),
        ("texts", ["a", "b", "a"], "key: holds something twice"),
        ("nodes", [{}, []], "key[1]: must be an object"),
        ("nodes", [], "key: must be a list with something in it"),
        ("node", [], "key: must be an object"),
    ],
)
def test_what_does_not_fit_is_refused_with_its_place(reader: str, value: Any, said: str) -> None:
    with pytest.raises(DataProblem) as caught:
        READERS[reader](node(value))
    assert str(caught.value) == f"file.json {said}"
    assert f"{caught.value.place}: {caught.value.reason}" == str(caught.value)


def test_a_member_that_is_not_there_is_missing() -> None:
    with pytest.raises(DataProblem, match=r"^file.json other: is missing$"):
        node(1).value("other")
    assert node(None).has("key") and not node(None).has("other")


def test_the_first_member_that_is_not_known_is_named_with_those_that_are() -> None:
    Node({"a": 1, "b": 2}, "file.json").only("a", "b", "c")
    with pytest.raises(DataProblem, match=r"^file.json y: is not understood here; known: a, b$"):
        Node({"z": 1, "a": 1, "y": 2}, "file.json").only("a", "b")
