"""Inputs for the items of an instrument, for staff who enter what was answered or measured; and what was sent, as numbers."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from scoring.definition import Item
from server.fields.check import EntryRefused
from server.fields.field import Errors
from server.staff.page import words
from server.words import labels

LONGEST_NUMBER = 6


@dataclass(frozen=True)
class Asked:
    """One item. `options` are code and words; without any a number is typed, within `least` and `most`."""

    name: str
    label: str
    hint: str
    options: list[tuple[str, str]]
    least: int
    most: int


def asked_items(text: Mapping[str, Any], side: str, items: Iterable[Item], prefix: str = "item-") -> list[Asked]:
    """In the words of the text, which names the side."""
    spoken = words.say(labels.SIDE[side])
    return [_asked(item, dict(text["items"].get(item.item, {})), spoken, prefix) for item in items]


def _asked(item: Item, said: Mapping[str, Any], side: str, prefix: str) -> Asked:
    named = said.get("options", {}) if item.type == "choice" else {}
    options = [(str(number), str(named.get(str(number), number))) for number in item.numbers] if named else []
    unit = f" ({item.unit})" if item.unit else ""
    ends = " … ".join(end for end in (said.get("low", ""), said.get("high", "")) if end)
    hint = ". ".join(part for part in (said.get("hint", "").rstrip("."), ends) if part)
    numbers = item.numbers or (0,)
    label = f"{item.item}. {str(said.get('stem', item.topic)).replace('{side}', side)}{unit}"
    return Asked(f"{prefix}{item.item}", label, hint, options, min(numbers), max(numbers))


def sent_numbers(items: Iterable[Item], form: Mapping[str, str], prefix: str = "item-") -> dict[str, int]:
    """What was chosen or typed, by item; an empty one is left out. Raises EntryRefused with every error."""
    errors: Errors = {}
    found: dict[str, int] = {}
    for item in items:
        text = form.get(f"{prefix}{item.item}", "").strip()
        if not text:
            continue
        if not (text.isascii() and text.isdecimal() and len(text) <= LONGEST_NUMBER) or int(text) not in item.numbers:
            low, high = min(item.numbers), max(item.numbers)
            said = words.gettext("Enter a whole number from %(low)s to %(high)s, or leave it empty.")
            errors[f"{prefix}{item.item}"] = [said % {"low": low, "high": high}]
        else:
            found[item.item] = int(text)
    if errors:
        raise EntryRefused(errors)
    return found
