"""A second scoring, made apart from `scoring` and deliberately plain, to hold the first one against.

It reads no definition: what it knows of each instrument was written down from SOURCE.md. Numbers are fractions until the
very end. Where SOURCE.md has a rule from memory, agreement says that both do what it says there, and nothing of whether it is right.
"""

from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import Any
from unittest.mock import ANY

Sheet = dict[str, Any]  # a number, None, or "not_applicable"
Scales = list[dict[str, Any]]
Value = Fraction | int | None


def numbers(sheet: Sheet, first: int, last: int) -> list[int]:
    """What was answered of the items from `first` to `last`."""
    found = []
    for number in range(first, last + 1):
        if isinstance(sheet[str(number)], int):
            found.append(sheet[str(number)])
    return found


def row(scale: str, value: Value, answered: int, items: int, *, prorated: bool = False) -> dict[str, Any]:
    status = "not_scored" if value is None else "prorated" if prorated else "scored"
    shown = None if value is None else float(value)
    return {"scale": scale, "value": shown, "status": status, "answered": answered, "items": items}


def one_item(scale: str) -> Callable[[Sheet], Scales]:
    def of_sheet(sheet: Sheet) -> Scales:
        return [row(scale, sheet["1"], 0 if sheet["1"] is None else 1, 1)]

    return of_sheet


def sst(sheet: Sheet) -> Scales:
    given = numbers(sheet, 1, 12)
    yes, no = given.count(1), given.count(0)
    n = len(given)
    return [
        row("total", yes if n == 12 else None, n, 12),
        row("total_if_blanks_no", yes if n > 0 else None, n, 12),
        row("total_if_blanks_yes", 12 - no if n > 0 else None, n, 12),
    ]


def ases(sheet: Sheet) -> Scales:
    pain = numbers(sheet, 1, 1)
    function = numbers(sheet, 2, 11)
    n = len(pain) + len(function)
    points = (10 - pain[0]) * 5 if pain else None
    part = Fraction(sum(function) * 50, 3 * len(function)) if len(function) >= 8 else None
    whole = Fraction(sum(function) * 5, 3) if len(function) == 10 else None
    short = len(function) < 10
    return [
        row("total", None if points is None or part is None else points + part, n, 11, prorated=short),
        row("total_complete", None if points is None or whole is None else points + whole, n, 11),
        row("pain_points", points, len(pain), 1),
        row("function", part, len(function), 10, prorated=short),
        row("function_complete", whole, len(function), 10),
    ]


def spadi(sheet: Sheet) -> Scales:
    pain, disability, every = numbers(sheet, 1, 5), numbers(sheet, 6, 13), numbers(sheet, 1, 13)
    first = Fraction(100 * sum(pain), 10 * len(pain)) if len(pain) >= 4 else None
    second = Fraction(100 * sum(disability), 10 * len(disability)) if len(disability) >= 7 else None
    pooled = Fraction(100 * sum(every), 10 * len(every)) if len(every) >= 12 else None
    total = None if first is None or second is None else (first + second) / 2
    short = len(every) < 13
    return [
        row("total", total, len(every), 13, prorated=short),
        row("total_pooled", pooled, len(every), 13, prorated=short),
        row("pain", first, len(pain), 5, prorated=len(pain) < 5),
        row("disability", second, len(disability), 8, prorated=len(disability) < 8),
    ]


def dash_like(items: int, needed: int) -> Callable[[Sheet], Scales]:
    def of_sheet(sheet: Sheet) -> Scales:
        rows = []
        parts = (
            ("total", 1, items, needed),
            ("module_1", items + 1, items + 4, 4),
            ("module_2", items + 5, items + 8, 4),
        )
        for scale, first, last, least in parts:
            given = numbers(sheet, first, last)
            n, count = len(given), last - first + 1
            value = (Fraction(sum(given), n) - 1) * 25 if n >= least else None
            rows.append(row(scale, value, n, count, prorated=n < count))
        return rows

    return of_sheet


def oss(sheet: Sheet) -> Scales:
    given = numbers(sheet, 1, 12)
    n = len(given)
    value = None
    if n >= 10:
        value = sum(given) + (12 - n) * Fraction(sum(given), n)
    return [
        row("total", value, n, 12, prorated=n < 12),
        row("old", None if value is None else 60 - value, n, 12, prorated=n < 12),
        row("total_complete", sum(given) if n == 12 else None, n, 12),
    ]


def lines(domains: tuple[tuple[str, int, int], ...], count: int) -> Callable[[Sheet], Scales]:
    def of_sheet(sheet: Sheet) -> Scales:
        rows = []
        for scale, first, last in (("total", 1, count), *domains):
            given, items = numbers(sheet, first, last), last - first + 1
            value = Fraction(items * 100 - sum(given), items * 100) * 100 if len(given) == items else None
            rows.append(row(scale, value, len(given), items))
        given = numbers(sheet, 1, count)
        rows.append(row("raw", sum(given) if len(given) == count else None, len(given), count))
        return rows

    return of_sheet


def added(*parts: Value) -> Value:
    total: Fraction | int = 0
    for part in parts:
        if part is None:
            return None
        total += part
    return total


def half_up(value: Fraction) -> int:
    whole = value.numerator // value.denominator
    return whole + 1 if value - whole >= Fraction(1, 2) else whole


def line_points(millimetres: int) -> int:
    for points, limit in ((4, 30), (3, 60), (2, 90), (1, 120)):
        if millimetres <= limit:
            return points
    return 0


def arc_points(degrees: int) -> int:
    for points, limit in ((0, 30), (2, 60), (4, 90), (6, 120), (8, 150)):
        if degrees <= limit:
            return points
    return 10


def constant(sheet: Sheet) -> Scales:
    def count(*names: int) -> int:
        return sum(sheet[str(name)] is not None for name in names)

    def all_of(*names: int) -> bool:
        return count(*names) == len(names)

    rotation = range(8, 13)
    pain = 15 - half_up(Fraction(sheet["1"], 10)) if all_of(1) else None
    pain_last = half_up(15 - Fraction(sheet["1"], 10)) if all_of(1) else None
    life = sheet["2"] + line_points(sheet["3"]) + line_points(sheet["4"]) + sheet["5"] if all_of(2, 3, 4, 5) else None
    raised = arc_points(sheet["6"]) + arc_points(sheet["7"]) + sheet["13"] if all_of(6, 7, 13) else None
    reached = [place for place, name in enumerate(rotation, 1) if sheet[str(name)] == 1]
    turned = 2 * len(reached) if all_of(*rotation) else None
    furthest = 2 * max(reached, default=0) if all_of(*rotation) else None
    pounds = min(Fraction(25), Fraction(sheet["14"] * 100000, 45359237)) if all_of(14) else None
    halves = min(Fraction(25), Fraction(sheet["14"], 500)) if all_of(14) else None
    motion, best = added(raised, turned), added(raised, furthest)
    patient, moved, everything = (1, 2, 3, 4, 5), (6, 7, *rotation, 13), range(1, 15)
    return [
        row("total", added(pain, life, motion, pounds), count(*everything), 14),
        row("total_half_kilo", added(pain, life, motion, halves), count(*everything), 14),
        row("total_best_level", added(pain, life, best, pounds), count(*everything), 14),
        row("total_pain_last", added(pain_last, life, motion, pounds), count(*everything), 14),
        row("patient", added(pain, life), count(*patient), 5),
        row("pain", pain, count(1), 1),
        row("pain_last", pain_last, count(1), 1),
        row("daily_life", life, count(2, 3, 4, 5), 4),
        row("motion", motion, count(*moved), 8),
        row("motion_best_level", best, count(*moved), 8),
        row("elevation", raised, count(6, 7, 13), 3),
        row("external_rotation", turned, count(*rotation), 5),
        row("external_best", furthest, count(*rotation), 5),
        row("strength", pounds, count(14), 1),
        row("strength_half_kilo", halves, count(14), 1),
    ]


def ucla(sheet: Sheet) -> Scales:
    first_four = numbers(sheet, 1, 4)
    value = None
    if len(first_four) == 4:
        flexion = sum(sheet["3"] >= edge for edge in (30, 45, 90, 120, 150))
        value = sheet["1"] + sheet["2"] + flexion + sheet["4"]
    satisfied = sheet["5"]
    every = numbers(sheet, 1, 5)
    return [
        row("total", None if value is None or satisfied is None else value + satisfied, len(every), 5),
        row("before_surgery", value, len(first_four), 4),
    ]


def penn(sheet: Sheet) -> Scales:
    pains, satisfied, function = numbers(sheet, 1, 3), numbers(sheet, 4, 4), numbers(sheet, 5, 24)
    pain = 30 - sum(pains) if len(pains) == 3 else None
    satisfaction = satisfied[0] if satisfied else None
    blank = sum(sheet[str(number)] is None for number in range(5, 25))
    part = None
    if blank == 0 and len(function) >= 10:
        part = Fraction(sum(function), 3 * len(function)) * 60
    short = len(function) < 20
    n = len(pains) + len(satisfied) + len(function)
    return [
        row("total", added(pain, satisfaction, part), n, 24, prorated=short),
        row("pain", pain, len(pains), 3),
        row("satisfaction", satisfaction, len(satisfied), 1),
        row("function", part, len(function), 20, prorated=short),
    ]


PHYSICAL_TENTHS = [162, 199, 235, 267, 296, 324, 349, 374, 398, 423, 449, 477, 508, 541, 577, 619, 677]
# A later manual is said to have another T for a raw sum of 4 than the paper that was read: it is compared with nothing.
MENTAL_TENTHS = [211, 251, 284, 313, 338, 363, 388, 411, 435, 458, 483, 508, 533, 560, 590, 625, 676]


def promis_global(sheet: Sheet) -> Scales:
    def part(names: Iterable[str]) -> tuple[int | None, int]:
        given = []
        for name in names:
            value = sheet[name]
            if value is not None and name == "7":
                value = 5 if value == 0 else 4 if value < 4 else 3 if value < 7 else 2 if value < 10 else 1
            if value is not None:
                given.append(value)
        return (sum(given) if len(given) == 4 else None), len(given)

    (physical, n), (mental, m) = part("3678"), part(("2", "4", "5", "10"))
    mental_t = row("mental", None if mental is None else Fraction(MENTAL_TENTHS[mental - 4], 10), m, 4)
    if mental == 4:
        mental_t["value"] = ANY
    return [
        row("physical", None if physical is None else Fraction(PHYSICAL_TENTHS[physical - 4], 10), n, 4),
        mental_t,
        row("physical_raw", physical, n, 4),
        row("mental_raw", mental, m, 4),
    ]


TWINS: dict[str, Callable[[Sheet], Scales]] = {
    "sst": sst,
    "ases": ases,
    "spadi": spadi,
    "quickdash": dash_like(11, 10),
    "dash": dash_like(30, 27),
    "oss": oss,
    "woos": lines((("physical", 1, 6), ("sport", 7, 11), ("lifestyle", 12, 16), ("emotions", 17, 19)), 19),
    "worc": lines((), 21),
    "wosi": lines((("physical", 1, 10), ("sport", 11, 14), ("lifestyle", 15, 18), ("emotions", 19, 21)), 21),
    "constant": constant,
    "ucla": ucla,
    "penn": penn,
    "promis-global": promis_global,
    "pain": one_item("pain"),
    "sane": one_item("sane"),
    "pass": one_item("acceptable"),
    "satisfaction": one_item("satisfaction"),
    "global-change": one_item("rating"),
}


def naive_scores(instrument: str, sheet: Sheet) -> Scales:
    """Value, status and counts of each scale; every item is a key of the sheet."""
    return TWINS[instrument](sheet)


def same(count: int, codes: Iterable[Any]) -> list[list[Any]]:
    return [list(codes)] * count


LINE, ARC = (
    [*range(0, 151, 7), 30, 31, 60, 61, 90, 91, 120, 121, 15, 150],
    [*range(0, 181, 11), 30, 31, 45, 150, 151, 180],
)
FORCE = [0, 1, 499, 500, 4999, 11339, 11340, 12499, 12500, 50000]
# What each item accepts, in order; edges of bands among them.
CODES: dict[str, list[list[Any]]] = {
    "sst": same(12, range(2)),
    "ases": same(1, range(11)) + same(10, range(4)),
    "spadi": same(13, range(11)),
    "quickdash": same(19, range(1, 6)),
    "dash": same(38, range(1, 6)),
    "oss": same(12, range(5)),
    "woos": same(19, range(101)),
    "worc": same(21, range(101)),
    "wosi": same(21, range(101)),
    "constant": [
        LINE,
        [0, 1, 2],
        LINE,
        LINE,
        [*range(0, 11, 2)],
        ARC,
        ARC,
        *same(5, range(2)),
        [*range(0, 11, 2)],
        FORCE,
    ],
    "ucla": [[1, 2, 4, 6, 8, 10], [1, 2, 4, 6, 8, 10], ARC, [0, 1, 2, 3, 4, 5], [0, 5]],
    "penn": same(4, range(11)) + same(20, [0, 1, 2, 3, 0, 1, 2, 3, "not_applicable"]),
    "promis-global": same(6, range(1, 6)) + same(1, range(11)) + same(3, range(1, 6)),
    "pain": same(1, range(11)),
    "sane": same(1, range(101)),
    "pass": same(1, range(2)),
    "satisfaction": same(1, range(1, 6)),
    "global-change": same(1, range(1, 8)),
}
