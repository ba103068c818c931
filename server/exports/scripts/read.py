"""Reads the files beside it with the types and labels of codebook.csv. Python 3.10 or newer; nothing need be installed.

from read import read
wide = read("wide.csv")
wide.rows                    # a list of dicts; what is missing is None, and a column beside it says why
wide.labels["y1_pain"]       # what a column holds
wide.value_labels["side"]    # what its codes mean
pandas.DataFrame(wide.rows)  # if you work with pandas
"""

import csv
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

Value = Any  # int, float, str, datetime.date, datetime.datetime or None
GUARDED = re.compile("'+[=+\\-@＝＋－＠\t\r\n]")  # the codebook's first row says why


@dataclass
class Table:
    rows: list[dict[str, Value]]
    labels: dict[str, str]
    value_labels: dict[str, dict[Value, str]]
    types: dict[str, str]


def read(file: str, folder: Path | None = None) -> Table:
    """`file`: its name, such as "long.csv". `folder`: where it lies, if not beside this script."""
    where = folder or Path(__file__).resolve().parent
    book = {row["name"]: row for row in _rows(where / "codebook.csv") if row["file"] == file and row["type"] in TYPES}
    rows = [{name: _value(cell, book[name]["type"]) for name, cell in row.items()} for row in _rows(where / file)]
    return Table(
        rows,
        {name: row["label"] for name, row in book.items()},
        {name: _labels(row["codes"], row["type"]) for name, row in book.items() if row["codes"]},
        {name: row["type"] for name, row in book.items()},
    )


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines, strict=True))


def _text(cell: str) -> str:
    """As recorded: without the apostrophe that keeps a spreadsheet from running it."""
    return cell[1:] if GUARDED.match(cell) else cell


TYPES: dict[str, Callable[[str], Value]] = {
    "integer": int,
    "number": float,
    "word": str,
    "text": _text,
    "date": date.fromisoformat,
    "instant": lambda cell: datetime.fromisoformat(cell.replace("Z", "+00:00")),
}


def _value(cell: str, type: str) -> Value:
    return TYPES[type](cell) if cell else None


def _labels(codes: str, type: str) -> dict[Value, str]:
    pairs = (each.partition(" = ") for each in codes.split(" | "))
    return {_value(code, type): label or code.replace("_", " ") for code, _is, label in pairs}
