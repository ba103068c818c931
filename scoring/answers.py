"""One answer, and what an item accepts. Errors are data: item -> messages, all at once."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from math import isfinite

from scoring.definition import Definition, Item
from scoring.strict_json import shown

# As in server/sync/PROTOCOL.md, section 4.
STATES = ("answered", "declined", "skipped", "not_reached", "not_applicable")
# For a sheet that names no reason, such as a paper form: blank.
NOT_GIVEN = "not_given"

_MONTH = re.compile(r"(19|20|21)\d\d-(0[1-9]|1[0-2])", re.ASCII)
# Surrogates cannot be stored as UTF-8, and databases refuse NUL; tab and line ends may stand in a text.
_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")

Problems = dict[str, list[str]]


class AnswerProblem(ValueError):
    """Answers that cannot be used. `problems` gives the messages by item; the text of the error holds them all."""

    def __init__(self, problems: Problems) -> None:
        super().__init__("\n".join(f"{place}: {each}" for place, messages in problems.items() for each in messages))
        self.problems = problems


@dataclass(frozen=True, slots=True)
class Answer:
    """`value` is None unless the state is `answered`."""

    state: str
    value: int | str | None = None


NO_ANSWER = Answer(NOT_GIVEN)
# Items with more numbers than this are looked at one by one.
_MOST_READY = 1001


def value_problem(item: Item, value: object, *, today: date | None = None) -> str | None:
    """Why the item does not accept `value`, with what it accepts; None when it does. `today` limits a month.

    Repeats numbers only: a text, wherever it was put, can name a person.
    """
    if item.numbers:
        fault = _number_fault(item, value)
    elif item.type == "month":
        fault = _month_fault(value, today)
    else:
        fault = _text_fault(item, value)
    return fault and f"{fault}; allowed: {allowed(item)}"


def allowed(item: Item) -> str:
    """What an item accepts, in words."""
    if isinstance(item.numbers, range):
        step = f" in steps of {item.numbers.step}" if item.numbers.step > 1 else ""
        return f"whole numbers from {item.numbers[0]} to {item.numbers[-1]}{step}"
    if item.numbers:
        return ", ".join(str(code) for code in item.numbers)
    return "a month as YYYY-MM" if item.type == "month" else f"a text of 1 to {item.max_length} characters"


def is_asked(item: Item, answers: Mapping[str, Answer]) -> bool:
    """Whether the item's own condition is met by the answers; true without one."""
    if item.asked_if is None:
        return True
    given = answers.get(item.asked_if.item)
    return given is not None and given.state == "answered" and given.value in item.asked_if.codes


def read_sheet(definition: Definition, values: Mapping[str, object]) -> dict[str, Answer]:
    """Answers by item from plain values; None or left out is not answered. Raises AnswerProblem with every fault.

    An item that offers it takes the word `not_applicable` too.
    """
    answers: dict[str, Answer] = {}
    for name, known in _ready(definition):
        value = values.get(name)
        # True and 1.0 would be found in the table of 1.
        found = known.get(value) if type(value) is int else NO_ANSWER if value is None and known else None
        if found is None:
            return _read_slowly(definition, values)
        answers[name] = found
    return answers if values.keys() <= answers.keys() else _read_slowly(definition, values)


@lru_cache(maxsize=256)
def _ready(definition: Definition) -> tuple[tuple[str, Mapping[int, Answer]], ...]:
    """By item every number it accepts, with its answer; empty for an item that must be looked at more closely."""
    return tuple(
        (item.item, {number: Answer("answered", number) for number in item.numbers})
        if item.asked_if is None and len(item.numbers) <= _MOST_READY
        else (item.item, {})
        for item in definition.items
    )


def _read_slowly(definition: Definition, values: Mapping[str, object]) -> dict[str, Answer]:
    known = ", ".join(definition.by_item)
    problems: Problems = {
        f"item {shown(name)}": [f"is not an item of {definition.spec}; its items: {known}"]
        for name in values
        if name not in definition.by_item
    }
    answers: dict[str, Answer] = {}
    for item in definition.items:
        value = values.get(item.item)
        # A source item with a fault of its own says nothing about what hangs on it.
        asked = is_asked(item, answers) or (item.asked_if is not None and f"item {item.asked_if.item}" in problems)
        applies = not (item.not_applicable and value == "not_applicable")
        fault = None if value is None or not applies else _sheet_fault(item, value, asked)
        if fault is not None:
            problems[f"item {item.item}"] = [fault]
        elif not applies and asked:
            answers[item.item] = Answer("not_applicable")
        elif isinstance(value, int | str) and applies:
            answers[item.item] = Answer("answered", value)
        else:
            answers[item.item] = Answer(NOT_GIVEN if asked else "skipped")
    if problems:
        raise AnswerProblem(problems)
    return answers


def _sheet_fault(item: Item, value: object, asked: bool) -> str | None:
    fault = value_problem(item, value)
    if fault is None and not asked and item.asked_if is not None:
        return f"is answered although item {item.asked_if.item} did not lead to it"
    return fault


def _number_fault(item: Item, value: object) -> str | None:
    if isinstance(value, int) and not isinstance(value, bool):
        return None if value in item.numbers else f"{shown(value)} is not allowed"
    if isinstance(value, float):
        kind = "whole" if isfinite(value) else "finite"
        return f"{shown(value)} is not a {kind} number"
    if isinstance(value, str):
        return "a text is not a number"
    return f"{shown(value)} is not a number" if isinstance(value, bool) or value is None else "is not a number"


def _month_fault(value: object, today: date | None) -> str | None:
    if not isinstance(value, str) or not _MONTH.fullmatch(value):
        return "is not a month"
    if today is not None and value > f"{today:%Y-%m}":
        return f"{shown(value)} lies in the future"
    return None


def _text_fault(item: Item, value: object) -> str | None:
    if not isinstance(value, str):
        return "is not a text"
    if not 1 <= len(value) <= item.max_length:
        return f"has {len(value)} characters"
    return "holds a character that cannot be stored" if _UNPRINTABLE.search(value) else None
