"""A second scoring, made apart from `scoring` and deliberately plain, to hold the first one against.

It reads no definition: what it knows of each instrument was written down from SOURCE.md.
"""

from typing import Any

Sheet = dict[str, int | None]


def one_item(scale: str, sheet: Sheet) -> list[dict[str, Any]]:
    if sheet["1"] is None:
        return [{"scale": scale, "value": None, "status": "not_scored", "answered": 0, "items": 1}]
    return [{"scale": scale, "value": sheet["1"], "status": "scored", "answered": 1, "items": 1}]


def sst(sheet: Sheet) -> list[dict[str, Any]]:
    yes = 0
    no = 0
    for number in range(1, 13):
        if sheet[str(number)] == 1:
            yes = yes + 1
        if sheet[str(number)] == 0:
            no = no + 1
    answered = yes + no
    total = yes if answered == 12 else None
    lowest = yes if answered > 0 else None
    highest = 12 - no if answered > 0 else None
    scales = [("total", total), ("total_if_blanks_no", lowest), ("total_if_blanks_yes", highest)]
    results = []
    for scale, value in scales:
        status = "not_scored" if value is None else "scored"
        results.append({"scale": scale, "value": value, "status": status, "answered": answered, "items": 12})
    return results


def naive_scores(instrument: str, sheet: Sheet) -> list[dict[str, Any]]:
    """Value, status and counts of each scale of `sst`, `pain`, `sane` or `pass`; every item is a key of the sheet."""
    if instrument == "sst":
        return sst(sheet)
    return one_item({"pain": "pain", "sane": "sane", "pass": "acceptable"}[instrument], sheet)


CODES = {"sst": (12, range(2)), "pain": (1, range(11)), "sane": (1, range(101)), "pass": (1, range(2))}
