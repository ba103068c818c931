"""Checks the words of an instrument against its definition, item by item."""

import re
import unicodedata
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from scoring.data_reader import DataProblem, Node
from scoring.definition import Definition, Item
from scoring.strict_json import shown

LANGUAGE = r"[a-z]{2,3}(-[A-Za-z0-9]{2,8})*"
TEXT_KINDS = ("descriptive", "licensed")
_PLACEHOLDER = re.compile(r"\{[^}]*\}?|\}")
# No database or no screen shows these: control characters, halves of a character, private and unassigned ones, ends of lines.
_UNSHOWABLE = ("Cc", "Cs", "Co", "Cn", "Zl", "Zp")
# They turn the reading direction of what follows, so that words can read otherwise than they are written; marks (U+200E, U+200F) do not.
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def text_kind(text_id: str) -> str:
    """`sst@1/en/descriptive-1` is a descriptive text."""
    return text_id.rpartition("/")[2].partition("-")[0]


def check_text(definition: Definition, data: object, place: str) -> Mapping[str, Any]:
    """`data` itself when it fits the definition; DataProblem names the item otherwise. `place` names the file."""
    top = Node.of(data, place)
    for problem in text_problems(definition, data, place):
        raise problem
    return top.data


def text_problems(definition: Definition, data: object, place: str) -> Iterator[DataProblem]:
    """What is wrong with a text: its head first, alone; then of each item the first fault."""
    try:
        top = Node.of(data, place)
        _check_head(top, definition)
        items = top.node("items")
    except DataProblem as problem:
        yield problem
        return
    yield from _unknown(items, list(definition.by_item), f"is no item of {definition.spec}; its items are")
    for item in definition.items:
        try:
            _check_item(items.node(item.item), item, definition.side)
        except DataProblem as problem:
            yield problem


def _check_head(top: Node, definition: Definition) -> None:
    top.only("text_id", "instrument", "language", "kind", "title", "recall", "items")
    if top.text("instrument") != definition.spec:
        raise top.refuse("instrument", f"must be {definition.spec}, but is {shown(top.text('instrument'))}")
    language = top.text("language", pattern=LANGUAGE)
    kind = top.word("kind", TEXT_KINDS)
    stem = f"{definition.spec}/{language}/{kind}-"
    if not re.fullmatch(rf"{re.escape(stem)}[A-Za-z0-9.-]{{1,20}}", top.text("text_id")):
        raise top.refuse("text_id", f"must be {stem}NAME")
    _words(top, "title", side=False)
    _words(top, "recall", side=False)


def _unknown(node: Node, known: Collection[str], why: str) -> Iterator[DataProblem]:
    """Keys stand in ASCII, so that a digit of another script is seen as one."""
    for key in sorted(node.data.keys() - set(known)):
        name = key if key.isascii() else shown(key)
        yield DataProblem(node.at(name), f"{why} {', '.join(known)}{_other_digits(key)}")


def _other_digits(key: str) -> str:
    return "; write it in the digits 0 to 9" if any(sign.isdigit() and not sign.isascii() for sign in key) else ""


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
        _check_options(node.node("options"), item)
    for end in ("low", "high"):
        if item.type == "scale" or node.has(end):
            _words(node, end, side=False, may_be_empty=item.type != "scale")
        if item.type not in ("scale", "integer") and node.data.get(end):
            raise node.refuse(end, "belongs to a scale or an integer")
    if item.not_applicable:
        _words(node, "not_applicable", side=False)


def _check_options(options: Node, item: Item) -> None:
    codes = [str(code) for code in item.numbers]
    for problem in _unknown(options, codes, f"is no code of item {item.item}; its codes are"):
        raise problem
    for code in codes:
        if not options.has(code):
            raise options.refuse(code, f"is missing; the codes of item {item.item} are {', '.join(codes)}")
        _words(options, code, side=False)
    _told_apart(options, codes)


def _told_apart(options: Node, codes: list[str]) -> None:
    """Two options that read the same cannot be chosen between."""
    seen: dict[str, str] = {}
    for code in codes:
        words = _as_read(options.data[code])
        if words in seen:
            raise options.refuse(code, f"reads the same as {seen[words]}")
        seen[words] = code


def _as_read(text: str) -> str:
    """Without what no reader sees: case, kinds of space, ways to write one letter, invisible signs."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    return " ".join("".join(sign for sign in plain if unicodedata.category(sign) != "Cf").split())


def _words(node: Node, key: str, *, side: bool, may_be_empty: bool = False) -> None:
    text = node.text(key, may_be_empty=may_be_empty)
    for found in _PLACEHOLDER.findall(text):
        if found != "{side}":
            raise DataProblem(node.at(key), f"{found} is not understood; the only placeholder is {{side}}")
        if not side:
            raise DataProblem(node.at(key), "{side} cannot stand here")
    if text != text.strip():
        raise DataProblem(node.at(key), "begins or ends with a space")
    kinds = {unicodedata.category(sign) for sign in text}
    if not kinds.isdisjoint(_UNSHOWABLE):
        raise DataProblem(node.at(key), "holds a sign that no screen can show")
    if not _TURNING.isdisjoint(text):
        raise DataProblem(
            node.at(key), "holds a sign that turns the reading direction; the page does that by the language"
        )
    if text and not any(kind[0] in "LNPS" for kind in kinds):
        raise DataProblem(node.at(key), "holds nothing that can be seen")
