"""Reads a follow-up plan from JSON data. Strict: an unknown key is a misspelt rule, so it is refused. DataProblem names the place.

A plan may still hold a `ladder`, as plans did before the reminder ladder became a setting of the clinic. It is not read.
"""

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from scoring.data_reader import DataProblem, Node, whole
from scoring.strict_json import shown
from server.schedule.plan import AfterSurgery, BeforeSurgery, Offset, Part, Plan, check_windows
from server.schedule.timepoint_code import TimepointCode, Unit

BASELINE_DUE_DAYS = 14  # the project's own; a plan may say otherwise
MAX_YEAR = 120
IDENTIFIER = r"[a-z][a-z0-9-]{0,19}"
WHOLE_VERSION = r"[1-9][0-9]{0,9}"
_INSTRUMENT = r"[a-z0-9][a-z0-9-]*@[0-9A-Za-z.]+"
_ITEM = r"[0-9A-Za-z_.-]+"
_OF_EACH = ("code", "title", "anchor", "minutes", "parts")
_KEYS = {
    "before_surgery": ("early_over_days", "due_days"),
    "days": ("opens", "invites", "due", "closes"),
    "years": ("years", "from_year", "to_year", "opens", "opens_day", "invites", "closes", "closes_day"),
}
_UNITS = {
    "before_surgery": (Unit.BEFORE_SURGERY,),
    "days": (Unit.DAY, Unit.WEEK, Unit.MONTH),
    "years": (Unit.YEAR,),
}
_CODES = {
    "before_surgery": "baseline",
    "days": "day-, week- or month- and a number, such as week-6",
    "years": "year- and a number",
}


def parse_plan(data: object) -> Plan:
    """The plan in `data`, as json.load gives it."""
    top = Node.of(data, "plan")
    top.only("id", "version", "title", "note", "timepoints", "phone_call", "ladder")
    before: list[BeforeSurgery] = []
    after: list[AfterSurgery] = []
    for node in top.nodes("timepoints"):
        if node.word("anchor", _KEYS) == "before_surgery":
            before.append(_before(node))
        else:
            after.extend(_after(node))
    if len(before) > 1:
        raise top.refuse("timepoints", "more than one is before surgery")
    ordered = tuple(sorted(after, key=lambda entry: entry.window(date(2001, 3, 1)).opens_on))
    _refuse_repeats(top, "timepoints", [entry.code for entry in ordered])
    check_windows(ordered)
    return Plan(
        id=top.text("id", pattern=IDENTIFIER),
        version=top.text("version", pattern=WHOLE_VERSION),
        title=top.text("title"),
        note=top.text("note", longest=10_000, pattern=r"(?s).+", may_be_empty=True) if top.has("note") else "",
        before=before[0] if before else None,
        after=ordered,
        phone_call=_matching(top, "phone_call", f"{_INSTRUMENT}/{_ITEM}") if top.has("phone_call") else (),
    )


def _before(node: Node) -> BeforeSurgery:
    node.only(*_OF_EACH, *_KEYS["before_surgery"])
    return BeforeSurgery(
        code=_code(node),
        title=_title(node),
        early_over_days=node.whole("early_over_days", 1, 3650),
        due_days=node.whole("due_days", 0, 365) if node.has("due_days") else BASELINE_DUE_DAYS,
        minutes=node.whole("minutes", 1, 120),
        parts=_parts(node),
    )


def _after(node: Node) -> list[AfterSurgery]:
    """The entry of one timepoint counted in days, or those of all years that the node names."""
    anchor = node.word("anchor", _KEYS)
    node.only(*_OF_EACH, *_KEYS[anchor])
    in_years = anchor == "years"
    absolute = in_years and _is_absolute(node)
    opens = Offset("surgery", _days(node, "opens_day")) if absolute else _around(node, "opens")
    entry = AfterSurgery(
        code=_code(node),
        title=_title(node),
        year=None,
        opens=opens,
        invites=_around(node, "invites") if node.has("invites") else opens,
        due=Offset("anniversary", 0) if in_years else _around(node, "due"),
        closes=Offset("surgery", _days(node, "closes_day")) if absolute else _around(node, "closes"),
        minutes=node.whole("minutes", 1, 120),
        parts=_parts(node),
    )
    return _of_years(node, entry) if in_years else [entry]


def _code(node: Node) -> str:
    """The code tells what the timepoint is, so it has to fit its anchor."""
    text, anchor = node.text("code"), node.word("anchor", _KEYS)
    try:
        fits = TimepointCode.parse(text).unit in _UNITS[anchor]
    except ValueError:
        fits = False
    if not fits:
        raise node.refuse("code", f"must be {_CODES[anchor]}, but is {shown(text)}")
    return text


def _of_years(node: Node, entry: AfterSurgery) -> list[AfterSurgery]:
    years = _years(node)
    if entry.code != str(TimepointCode(Unit.YEAR, years[0])):
        raise node.refuse("code", f"must be that of its first year, {TimepointCode(Unit.YEAR, years[0])}")
    return [
        replace(
            entry,
            code=str(TimepointCode(Unit.YEAR, year)),
            year=year,
            title=tuple((language, text.replace("{years}", str(year))) for language, text in entry.title),
        )
        for year in years
    ]


def _is_absolute(node: Node) -> bool:
    """Whether opening and closing are days from surgery; a mixture of both kinds is refused."""
    absolute = node.has("opens_day") or node.has("closes_day")
    if absolute and (node.has("opens") or node.has("closes")):
        raise node.refuse("opens_day", "days from surgery and days around the anniversary cannot be mixed")
    return absolute


def _days(node: Node, key: str) -> int:
    return node.whole(key, -366 * MAX_YEAR, 366 * MAX_YEAR)


def _around(node: Node, key: str) -> Offset:
    return Offset("anniversary", _days(node, key))


def _years(node: Node) -> list[int]:
    if node.has("years"):
        if node.has("from_year") or node.has("to_year"):
            raise node.refuse("years", "stands beside from_year or to_year; only one of them can hold")
        return [whole(each, f"{node.at('years')}[{n}]", 1, MAX_YEAR) for n, each in enumerate(node.list("years"))]
    first = node.whole("from_year", 1, MAX_YEAR)
    return list(range(first, node.whole("to_year", first, MAX_YEAR) + 1))


def _title(node: Node) -> tuple[tuple[str, str], ...]:
    """Language and text; empty when the plan gives none. `{years}` stands for the entry's year."""
    if not node.has("title"):
        return ()
    titles = node.node("title")
    return tuple((language, titles.text(language)) for language in titles.data)


def _parts(node: Node) -> tuple[Part, ...]:
    parts = []
    for each in node.nodes("parts"):
        each.only("instrument", "items")
        items = _matching(each, "items", _ITEM) if each.has("items") else None
        parts.append(Part(each.text("instrument", pattern=_INSTRUMENT), items))
    _refuse_repeats(node, "parts", [part.instrument for part in parts])
    return tuple(parts)


def _matching(node: Node, key: str, pattern: str) -> tuple[str, ...]:
    values = node.texts(key)
    for number, value in enumerate(values):
        if not re.fullmatch(pattern, value, re.ASCII):
            raise node.refuse(f"{key}[{number}]", f"{shown(value)} does not have the form it should have")
    return values


def _refuse_repeats(node: Node, key: str, values: Sequence[str]) -> None:
    for value in values:
        if values.count(value) > 1:
            raise DataProblem(node.at(key), f"{shown(value)} stands there twice")
