"""What a statistician finds from the files alone: plain CSV and the standard library, nothing of the program."""

import csv
from collections import Counter
from datetime import date
from pathlib import Path
from typing import NamedTuple

Row = dict[str, str]
ANSWERED = ("answered", "early", "late", "recalled")


class Rates(NamedTuple):
    """Answered of all whose window has closed, and of those who were still expected."""

    answered: int
    all: int
    expected: int


class Time(NamedTuple):
    """Days from surgery to revision (1), to death (2), or to the day to which the state of the implant was known (0)."""

    days: int
    status: int


def rows(folder: Path, file: str) -> list[Row]:
    with (folder / file).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def response_rates(folder: Path) -> dict[str, Rates]:
    """By timepoint. Of several attempts at a baseline the answered one counts, or else the last."""
    counted: dict[tuple[str, ...], Row] = {}
    for row in rows(folder, "schedule.csv"):
        if not row["closes_on"] or row["closes_on"] >= row["as_of"]:
            continue
        key = tuple(row[name] for name in ("study_number", "side", "operation", "timepoint"))
        if key not in counted or counted[key]["status"] not in ANSWERED:
            counted[key] = row
    found: dict[str, Rates] = {}
    for row in counted.values():
        before, given = found.get(row["timepoint"], Rates(0, 0, 0)), row["status"] in ANSWERED
        expected = given or row["eligible"] == "1"
        found[row["timepoint"]] = Rates(before.answered + given, before.all + 1, before.expected + expected)
    return found


def answered_with_another_implant(folder: Path) -> dict[str, tuple[int, int]]:
    """By timepoint: answers of the implant that this operation put in, and those that came after its revision."""
    found: dict[str, tuple[int, int]] = {}
    for row in rows(folder, "schedule.csv"):
        if row["status"] in ANSWERED:
            first, another = found.get(row["timepoint"], (0, 0))
            revised = row["revised"] == "1"
            found[row["timepoint"]] = first + (not revised), another + revised
    return found


def silences(folder: Path) -> Counter[str]:
    """Why nobody answered who was asked."""
    return Counter(row["status_reason"] for row in rows(folder, "schedule.csv") if row["status"] == "missed")


def flow(folder: Path) -> Counter[tuple[str, str]]:
    """How many operations stand at each timepoint and step."""
    found = Counter[tuple[str, str]]()
    for row in rows(folder, "flow.csv"):
        found[row["timepoint"], row["step"]] += int(row["operations"])
    return found


def coverage(folder: Path) -> dict[str, tuple[int, int]]:
    """By year: operations done here, and those of enrolled patients."""
    found: dict[str, tuple[int, int]] = {}
    for row in rows(folder, "log.csv"):
        if row["done_here"] == "1":
            done, enrolled = found.get(row["surgery_year"], (0, 0))
            count = int(row["operations"])
            found[row["surgery_year"]] = done + count, enrolled + count * (row["enrolment"] != "not_enrolled")
    return found


def times_to_revision(folder: Path) -> list[Time]:
    """Of first operations that were done; a revision before a death on one day."""
    return sorted(
        _time(row) for row in rows(folder, "operations.csv") if row["operation_kind"] == "index" and row["surgery_on"]
    )


def _time(row: Row) -> Time:
    start = date.fromisoformat(row["surgery_on"])
    for name, status in (("revised_on", 1), ("died_on", 2)):
        if row[name]:
            return Time((date.fromisoformat(row[name]) - start).days, status)
    known = date.fromisoformat(row["last_implant_on"]) if row["last_implant_on"] else start
    return Time((max(known, start) - start).days, 0)
