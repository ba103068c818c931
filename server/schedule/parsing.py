"""Reads a follow-up plan from JSON data. Strict: an unknown key is a misspelt rule, so it is refused."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from server.schedule.plan import (
    AfterSurgery,
    BeforeSurgery,
    LadderStep,
    Offset,
    Part,
    Plan,
    PlanProblem,
    check_windows,
)

CHANNELS = frozenset({"email"})  # the channels that exist under server/reminders/channels
BASELINE_DUE_DAYS = 14  # the project's own; a plan may say otherwise
MAX_YEAR = 120
_INSTRUMENT = re.compile(r"[a-z0-9][a-z0-9-]*@[0-9A-Za-z.]+")
_ITEM = re.compile(r"[a-z0-9][a-z0-9-]*@[0-9A-Za-z.]+/[0-9A-Za-z_.-]+")
_CODE = re.compile(r"[a-z][a-z0-9-]{0,19}")
_OF_EACH = {"code", "title", "anchor", "minutes", "parts"}
_KEYS = {
    "before_surgery": {"early_over_days", "due_days"},
    "days": {"opens", "invites", "due", "closes"},
    "years": {"years", "from_year", "to_year", "opens", "opens_day", "invites", "closes", "closes_day"},
}


def parse_plan(data: object) -> Plan:
    """The plan in `data` (as json.load gives it); PlanProblem names the first place that is not understood."""
    top = _Node(data, "plan")
    top.only({"id", "version", "title", "note", "timepoints", "phone_call", "ladder"})
    before: list[BeforeSurgery] = []
    after: list[AfterSurgery] = []
    for node in top.nodes("timepoints"):
        if node.word("anchor", _KEYS) == "before_surgery":
            before.append(_before(node))
        else:
            after.extend(_after(node))
    if len(before) > 1:
        raise PlanProblem("timepoints", "more than one is before surgery")
    ordered = tuple(sorted(after, key=lambda entry: entry.window(date(2001, 3, 1)).opens_on))
    _distinct("timepoints", [entry.code for entry in before] + [entry.code for entry in ordered])
    check_windows(ordered)
    return Plan(
        id=top.match("id", _CODE),
        version=top.match("version", re.compile(r"[0-9A-Za-z.]{1,10}")),
        title=top.text("title"),
        note=top.text("note", ""),
        before=before[0] if before else None,
        after=ordered,
        phone_call=top.strings("phone_call", _ITEM) if top.has("phone_call") else (),
        ladder=_ladder(top),
    )


class _Node:
    """One JSON object and where it stands, so that every refusal can say so."""

    def __init__(self, data: object, place: str) -> None:
        if not isinstance(data, Mapping):
            raise PlanProblem(place, "must be an object")
        self.data: Mapping[str, Any] = data
        self.place = place

    def at(self, key: str) -> str:
        return key if self.place == "plan" else f"{self.place}.{key}"

    def has(self, key: str) -> bool:
        return key in self.data

    def only(self, known: Iterable[str]) -> None:
        for key in self.data.keys() - set(known):
            raise PlanProblem(self.at(str(key)), "is not understood here")

    def _value(self, key: str) -> Any:
        if key not in self.data:
            raise PlanProblem(self.at(key), "is missing")
        return self.data[key]

    def text(self, key: str, default: str | None = None) -> str:
        value = self._value(key) if default is None else self.data.get(key, default)
        if not isinstance(value, str) or not (value or default == ""):
            raise PlanProblem(self.at(key), "must be a text")
        return value

    def match(self, key: str, pattern: re.Pattern[str]) -> str:
        value = self.text(key)
        if not pattern.fullmatch(value):
            raise PlanProblem(self.at(key), f"{value!r} has not the form it should have")
        return value

    def word(self, key: str, words: Iterable[str]) -> str:
        value = self.text(key)
        if value not in words:
            raise PlanProblem(self.at(key), f"{value!r} is none of {', '.join(sorted(words))}")
        return value

    def number(self, key: str, low: int, high: int) -> int:
        return _number(self._value(key), self.at(key), low, high)

    def entries(self, key: str) -> list[Any]:
        value = self._value(key)
        if not isinstance(value, list) or not value:
            raise PlanProblem(self.at(key), "must be a list with something in it")
        return value

    def nodes(self, key: str) -> list["_Node"]:
        return [_Node(each, f"{self.at(key)}[{n}]") for n, each in enumerate(self.entries(key))]

    def strings(self, key: str, pattern: re.Pattern[str]) -> tuple[str, ...]:
        for n, each in enumerate(values := self.entries(key)):
            if not isinstance(each, str) or not pattern.fullmatch(each):
                raise PlanProblem(f"{self.at(key)}[{n}]", f"{each!r} has not the form it should have")
        _distinct(self.at(key), values)
        return tuple(values)


def _number(value: object, place: str, low: int, high: int) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
        raise PlanProblem(place, f"must be a whole number from {low} to {high}")
    return value


def _distinct(place: str, values: list[str]) -> None:
    for value in values:
        if values.count(value) > 1:
            raise PlanProblem(place, f"{value!r} stands there twice")


def _before(node: _Node) -> BeforeSurgery:
    node.only(_OF_EACH | _KEYS["before_surgery"])
    return BeforeSurgery(
        code=node.match("code", _CODE),
        title=_title(node),
        early_over_days=node.number("early_over_days", 1, 3650),
        due_days=node.number("due_days", 0, 365) if node.has("due_days") else BASELINE_DUE_DAYS,
        minutes=node.number("minutes", 1, 120),
        parts=_parts(node),
    )


def _after(node: _Node) -> list[AfterSurgery]:
    anchor = node.word("anchor", _KEYS)
    node.only(_OF_EACH | _KEYS[anchor])
    in_years = anchor == "years"
    absolute = in_years and _is_absolute(node)
    opens = Offset("surgery", _days(node, "opens_day")) if absolute else _around(node, "opens")
    entry = AfterSurgery(
        code=node.match("code", _CODE),
        title=_title(node),
        year=None,
        opens=opens,
        invites=_around(node, "invites") if node.has("invites") else opens,
        due=Offset("anniversary", 0) if in_years else _around(node, "due"),
        closes=Offset("surgery", _days(node, "closes_day")) if absolute else _around(node, "closes"),
        minutes=node.number("minutes", 1, 120),
        parts=_parts(node),
    )
    return _of_years(node, entry) if in_years else [entry]


def _of_years(node: _Node, entry: AfterSurgery) -> list[AfterSurgery]:
    years = _years(node)
    if entry.code != f"year-{years[0]}":
        raise PlanProblem(node.at("code"), f"must be that of its first year, year-{years[0]}")
    return [
        replace(
            entry,
            code=f"year-{year}",
            year=year,
            title=tuple((language, text.replace("{years}", str(year))) for language, text in entry.title),
        )
        for year in years
    ]


def _is_absolute(node: _Node) -> bool:
    """Whether opening and closing are days from surgery; a mixture of both kinds is refused."""
    absolute = node.has("opens_day") or node.has("closes_day")
    if absolute and (node.has("opens") or node.has("closes")):
        raise PlanProblem(node.at("opens_day"), "days from surgery and days around the anniversary cannot be mixed")
    return absolute


def _days(node: _Node, key: str) -> int:
    return node.number(key, -366 * MAX_YEAR, 366 * MAX_YEAR)


def _around(node: _Node, key: str) -> Offset:
    return Offset("anniversary", _days(node, key))


def _years(node: _Node) -> list[int]:
    if node.has("years"):
        if node.has("from_year") or node.has("to_year"):
            raise PlanProblem(node.at("years"), "stands beside from_year or to_year; only one of them can hold")
        place = node.at("years")
        return [_number(each, f"{place}[{n}]", 1, MAX_YEAR) for n, each in enumerate(node.entries("years"))]
    first = node.number("from_year", 1, MAX_YEAR)
    return list(range(first, node.number("to_year", first, MAX_YEAR) + 1))


def _title(node: _Node) -> tuple[tuple[str, str], ...]:
    """Language and text; empty when the plan gives none. `{years}` stands for the entry's year."""
    if not node.has("title"):
        return ()
    titles = _Node(node.data["title"], node.at("title"))
    return tuple((language, titles.text(language)) for language in titles.data)


def _parts(node: _Node) -> tuple[Part, ...]:
    parts = []
    for each in node.nodes("parts"):
        each.only({"instrument", "items"})
        items = each.strings("items", re.compile(r"[0-9A-Za-z_.-]+")) if each.has("items") else None
        parts.append(Part(each.match("instrument", _INSTRUMENT), items))
    _distinct(node.at("parts"), [part.instrument for part in parts])
    return tuple(parts)


def _ladder(top: _Node) -> tuple[LadderStep, ...]:
    steps: list[LadderStep] = []
    for node in top.nodes("ladder"):
        node.only({"step", "after_invite_days", "channel"})
        days = node.number("after_invite_days", steps[-1].after_invite_days if steps else 0, 366)
        steps.append(LadderStep(node.match("step", _CODE), days, node.word("channel", CHANNELS)))
    _distinct("ladder", [step.step for step in steps])
    return tuple(steps)
