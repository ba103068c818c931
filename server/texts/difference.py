"""Two texts of one instrument side by side: each place where the words differ, item by item."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from scoring.definition import Definition, Item

Document = Mapping[str, Any]


@dataclass(frozen=True)
class Change:
    """`place` in words, such as "item 3, code 1". Empty words: that text has nothing there."""

    place: str
    old: str
    new: str


def difference(definition: Definition, old: Document, new: Document) -> list[Change]:
    """Empty when all words are the same. Title and recall first, then the items in the order of the definition."""
    places = _places(definition, old, new)
    return [Change(place, before, after) for place, before, after in places if before != after]


def _places(definition: Definition, old: Document, new: Document) -> Iterator[tuple[str, str, str]]:
    for name in ("title", "recall"):
        yield name, str(old.get(name, "")), str(new.get(name, ""))
    for item in definition.items:
        before, after = _item(old, item), _item(new, item)
        for member in ("stem", "hint", "low", "high", "not_applicable"):
            place = f"item {item.item}" if member == "stem" else f"item {item.item}, {member.replace('_', ' ')}"
            yield place, str(before.get(member, "")), str(after.get(member, ""))
        if item.type == "choice":
            for code in map(str, item.numbers):
                place = f"item {item.item}, code {code}"
                yield place, _option(before, code), _option(after, code)


def _item(text: Document, item: Item) -> Document:
    found: Document = text["items"].get(item.item, {})
    return found


def _option(words: Document, code: str) -> str:
    return str(words.get("options", {}).get(code, ""))
