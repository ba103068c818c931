"""Draws one form's answers from how the shoulder does. The form itself comes from the plan, as on a phone."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from random import Random
from typing import Any

from scoring.answers import Answer, is_asked
from scoring.definition import Definition
from scoring.library import Library
from server.forms.asked import AskedPart
from server.sync.due import wire_instant

Value = int | str | None
Given = tuple[str, Value]  # state and value
# SST items from the one most people can do to the one fewest can.
EASIEST_FIRST = ("1", "5", "3", "2", "6", "4", "12", "11", "8", "9", "7", "10")

# From which SST on most people call their shoulder acceptable (doi 10.1177/2471549217720042).
ACCEPTABLE = 8.4


@dataclass(frozen=True)
class Wanted:
    """`extra` fixes answers, `since/6a` to code or text; the others are drawn."""

    ability: float
    extra: Mapping[str, Value] = field(default_factory=dict)


def draw_parts(
    library: Library,
    asked: Sequence[AskedPart],
    text_ids: Mapping[str, str],
    wanted: Wanted,
    random: Random,
) -> list[dict[str, Any]]:
    """The parts of a payload, without instants. `text_ids`: which text of each instrument the patient reads.

    One form is filled in on one day, good or bad, so that its scores and its yes or no go together.
    """
    wanted = replace(wanted, ability=max(0.0, wanted.ability + random.gauss(0, 0.6)))
    return [_part(library, part, text_ids, wanted, random) for part in asked]


def stamp_parts(parts: list[dict[str, Any]], opened_at: datetime, random: Random) -> datetime:
    """Adds the instants at which a person acted on each item; returns when the form was finished."""
    at = opened_at + timedelta(seconds=random.randint(9, 30))
    for part in parts:
        for answer in part["answers"].values():
            if answer["state"] in ("skipped", "not_reached"):
                continue
            at += timedelta(milliseconds=random.randint(2500, 15000))
            answer["first_at"] = answer["last_at"] = wire_instant(at)
    return at + timedelta(seconds=random.randint(4, 20))


def _part(
    library: Library, part: AskedPart, text_ids: Mapping[str, str], wanted: Wanted, random: Random
) -> dict[str, Any]:
    definition = library.instrument(part.instrument)
    drawn = DRAW[definition.id](wanted.ability, random)
    answers: dict[str, dict[str, Any]] = {}
    for name in part.items:
        state, value = _answer(definition, name, drawn, wanted, answers)
        answers[name] = {"state": state} if value is None else {"state": state, "value": value}
    return {"instrument": definition.spec, "text_id": text_ids[definition.spec], "answers": answers}


def _answer(
    definition: Definition, name: str, drawn: Mapping[str, Given], wanted: Wanted, answers: Mapping[str, Any]
) -> Given:
    earlier = {item: Answer(each["state"], each.get("value")) for item, each in answers.items()}
    if not is_asked(definition.by_item[name], earlier):
        return "skipped", None
    if f"{definition.id}/{name}" in wanted.extra:
        return "answered", wanted.extra[f"{definition.id}/{name}"]
    return drawn.get(name, ("declined", None))


def _sst(ability: float, random: Random) -> dict[str, Given]:
    points = min(12, max(0, round(ability + random.gauss(0, 0.7))))
    order = sorted(range(12), key=lambda place: place + random.gauss(0, 1.3))
    can = {EASIEST_FIRST[place] for place in order[:points]}
    answers: dict[str, Given] = {item: ("answered", int(item in can)) for item in EASIEST_FIRST}
    if random.random() < 0.035:
        answers[random.choice(("9", "10", "12"))] = ("declined", None)
    return answers


def _pain(ability: float, random: Random) -> dict[str, Given]:
    return {"1": ("answered", min(10, max(0, round(8.6 - 0.68 * ability + random.gauss(0, 0.9)))))}


def _sane(ability: float, random: Random) -> dict[str, Given]:
    percent = ability / 12 * 88 + 6 + random.gauss(0, 6)
    return {"1": ("answered", min(100, max(0, 5 * round(percent / 5))))}


def _pass(ability: float, random: Random) -> dict[str, Given]:
    return {"1": ("answered", int(ability + random.gauss(0, 0.9) > ACCEPTABLE))}


def _early(_ability: float, random: Random) -> dict[str, Given]:
    sling = random.choices((2, 1, 0), (30, 60, 10))[0]
    return {"1": ("answered", sling), **dict.fromkeys(("2", "3", "4", "5", "6", "7"), ("answered", 0))}


def _since(ability: float, random: Random) -> dict[str, Given]:
    back = ("answered", random.randint(6, 30)) if ability > 4 else ("not_applicable", None)
    less = random.choices((1, 2, 3, 4), (60, 24, 6, 10) if ability > 7 else (15, 45, 25, 15))[0]
    work: Given = ("not_applicable", None) if random.random() < 0.45 else ("answered", less)
    return {
        "1": ("answered", 0),
        "2": ("answered", random.choices((0, 1, 2), (72, 14, 14))[0]),
        "3": back,
        "4": work,
        "5": ("answered", less),
        **dict.fromkeys(("6", "7", "8", "9", "10"), ("answered", 0)),
    }


def _of_the_person(_ability: float, _random: Random) -> dict[str, Given]:
    """Answered by who the person is (server.demo.traits), which is handed in."""
    return {}


DRAW: dict[str, Callable[[float, Random], dict[str, Given]]] = {
    "sst": _sst,
    "pain": _pain,
    "sane": _sane,
    "pass": _pass,
    "early": _early,
    "since": _since,
    "preference": _of_the_person,
    "return": _of_the_person,
}
