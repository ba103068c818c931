"""One answer, and what an item accepts. Errors are data: item -> messages, all at once."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from math import isfinite
from typing import TypeGuard

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
    """`value` counts only where the state is `answered`."""

    state: str
    value: int | str | None = None


NO_ANSWER, SKIPPED = Answer(NOT_GIVEN), Answer("skipped")


def is_accepted(value: object, item: Item, *, today: date | None = None) -> TypeGuard[int | str]:
    """Whether `value` can be an answer to the item. `today` limits a month."""
    if item.numbers:
        return type(value) is int and value in item.numbers  # True and 1.0 are no 1
    if not isinstance(value, str):
        return False
    if item.type == "month":
        return _MONTH.fullmatch(value) is not None and (today is None or value <= f"{today:%Y-%m}")
    return 1 <= len(value) <= item.max_length and not _UNPRINTABLE.search(value)


def value_problem(item: Item, value: object, *, today: date | None = None) -> str | None:
    """Why the item does not accept `value`, with what it accepts; None when it does.

    Repeats numbers only: a text, wherever it was put, can name a person.
    """
    return None if is_accepted(value, item, today=today) else f"{_fault(item, value)}; allowed: {allowed(item)}"


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
    problems: Problems = {
        f"item {shown(name)}": [f"is not an item of {definition.spec}; its items: {', '.join(definition.by_item)}"]
        for name in values
        if name not in definition.by_item
    }
    answers: dict[str, Answer] = {}
    for item in definition.items:
        value, asked = values.get(item.item), is_asked(item, answers)
        if value is None:
            answers[item.item] = NO_ANSWER if asked else SKIPPED
        elif asked and is_accepted(value, item):
            answers[item.item] = Answer("answered", value)
        elif item.not_applicable and value == "not_applicable":
            answers[item.item] = Answer("not_applicable") if asked else SKIPPED
        elif problem := value_problem(item, value) or _not_asked_problem(item, problems):
            problems[f"item {item.item}"] = [problem]
    if problems:
        raise AnswerProblem(problems)
    return answers


def _not_asked_problem(item: Item, problems: Problems) -> str | None:
    """Where the item that decides about it has a fault of its own, nothing is known."""
    if item.asked_if is None or f"item {item.asked_if.item}" in problems:
        return None
    return f"is answered although item {item.asked_if.item} did not lead to it"


def _fault(item: Item, value: object) -> str:
    if item.numbers:
        return _number_fault(value)
    if item.type == "month":
        known = isinstance(value, str) and _MONTH.fullmatch(value)
        return f"{shown(value)} lies in the future" if known else "is not a month"
    if not isinstance(value, str):
        return "is not a text"
    if not 1 <= len(value) <= item.max_length:
        return f"has {len(value)} characters"
    return "holds a character that cannot be stored"


def _number_fault(value: object) -> str:
    if type(value) is int:
        return f"{shown(value)} is not allowed"
    if isinstance(value, float):
        return f"{shown(value)} is not a {'whole' if isfinite(value) else 'finite'} number"
    if isinstance(value, str):
        return "a text is not a number"
    return f"{shown(value)} is not a number" if isinstance(value, bool) or value is None else "is not a number"
