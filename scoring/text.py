"""Checks the words of an instrument against its definition, item by item."""

import re
from collections.abc import Mapping
from typing import Any

from scoring.definition import Definition, Item
from scoring.reading import DataProblem, Node

LANGUAGE = r"[a-z]{2,3}(-[A-Za-z0-9]{2,8})*"
TEXT_KINDS = ("descriptive", "licensed")
_PLACEHOLDER = re.compile(r"\{[^}]*\}?|\}")


def check_text(definition: Definition, data: object, place: str) -> Mapping[str, Any]:
    """`data` itself when it fits the definition; DataProblem names the item otherwise. `place` names the file."""
    top = Node.of(data, place)
    top.only("text_id", "instrument", "language", "kind", "title", "recall", "items")
    if top.text("instrument") != definition.spec:
        raise top.refuse("instrument", f"must be {definition.spec}")
    language = top.text("language", pattern=LANGUAGE)
    kind = top.word("kind", TEXT_KINDS)
    stem = f"{definition.spec}/{language}/{kind}-"
    if not re.fullmatch(rf"{re.escape(stem)}[A-Za-z0-9.-]{{1,20}}", top.text("text_id")):
        raise top.refuse("text_id", f"must be {stem}NAME")
    _words(top, "title", side=False)
    _words(top, "recall", side=False)
    items = top.node("items")
    items.only(*definition.by_item)
    for item in definition.items:
        _check_item(items.node(item.item), item, definition.side)
    return top.data


def _check_item(node: Node, item: Item, side: bool) -> None:
    is_choice = item.type == "choice"
    node.only(
        "stem", "hint", "low", "high",
        *(["options"] if is_choice else []),
        *(["not_applicable"] if item.not_applicable else []),
    )  # fmt: skip
    _words(node, "stem", side=side)
    _words(node, "hint", side=side, may_be_empty=True)
    if is_choice:
        options = node.node("options")
        options.only(*(str(code) for code in item.numbers))
        for code in item.numbers:
            _words(options, str(code), side=False)
    for end in ("low", "high"):
        if item.type == "scale" or node.has(end):
            _words(node, end, side=False, may_be_empty=item.type != "scale")
        if item.type not in ("scale", "integer") and node.data.get(end):
            raise node.refuse(end, "belongs to a scale or an integer")
    if item.not_applicable:
        _words(node, "not_applicable", side=False)


def _words(node: Node, key: str, *, side: bool, may_be_empty: bool = False) -> None:
    text = node.text(key, may_be_empty=may_be_empty)
    for found in _PLACEHOLDER.findall(text):
        if found != "{side}":
            raise DataProblem(node.at(key), f"{found} is not understood; the only placeholder is {{side}}")
        if not side:
            raise DataProblem(node.at(key), "{side} cannot stand here")
    if text != text.strip():
        raise DataProblem(node.at(key), "begins or ends with a space")
