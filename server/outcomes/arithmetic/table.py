"""Tables as CSV from anywhere: columns by name, each cell with the line it stands in, and what is wrong told by that line."""

import csv
import io
from collections.abc import Sequence
from typing import NamedTuple

LARGEST = 1e9
SMALLEST = 1e-9  # but 0: smaller ones, divided by one another, lie beyond what a number can hold


class TableProblem(ValueError):
    """A table that cannot be used; the message says why and, where there is one, in which line."""


class Row(NamedTuple):
    """The cells of the columns that were asked for, without blanks around; a missing one is empty."""

    line: int
    cells: dict[str, str]


class Table(NamedTuple):
    header: list[str]
    rows: list[Row]


def read_table(csv_text: str, needed: Sequence[str]) -> Table:
    """The rows of a CSV whose first line names the columns, in any order. Raises TableProblem."""
    reader = csv.DictReader(io.StringIO(csv_text.removeprefix("\ufeff")), strict=True)
    try:
        header = [name.strip() for name in reader.fieldnames or ()]
        reader.fieldnames = header
        if any(header.count(name) != 1 for name in needed):
            raise TableProblem(_header_problem(header, needed))
        rows = [(reader.line_num, row) for row in reader]
    except csv.Error as error:
        raise TableProblem(f"line {reader.reader.line_num} is not CSV: {error}") from error
    for line, row in rows:
        if any(extra.strip() for extra in row.get(None) or ()):  # csv keeps under None what no column is named for
            raise TableProblem(
                f"line {line} has more values than columns are named; a decimal needs a point, not a comma"
            )
    return Table(header, [Row(line, {name: (row[name] or "").strip() for name in header}) for line, row in rows])


def _header_problem(header: Sequence[str], needed: Sequence[str]) -> str:
    names = ", ".join(header)
    has = f"it has: {ascii(names)[1:-1][:80]}" if names else "it is empty"
    said = f"the first line must name the columns {' and '.join(needed)} once; {has}"
    for sign, signs in ((";", "semicolons"), ("\t", "tabs")):
        if sign in names:
            return f"{said}. The values are separated by {signs}; save the file with commas"
    return said


def only_columns(table: Table, needed: Sequence[str], wanted: Sequence[str]) -> None:
    """Raises TableProblem for a column of another name, since a misspelled one would silently not be used, or a name used twice."""
    for name in table.header:
        if name not in (*needed, *wanted):
            known = f"{', '.join(needed)} and, if wanted, {', '.join(wanted)}"
            raise TableProblem(
                f"the first line names a column {ascii(name)[:40]} that is not known; the columns are {known}"
            )
        if table.header.count(name) != 1:
            raise TableProblem(f"the first line names the column {name} more than once")


def decimal(text: str) -> float | None:
    """None where the text is no number, or one too large or too small to reckon with."""
    try:
        value = float(text) if text.isascii() and "_" not in text else float("nan")
    except ValueError:
        return None
    return value if abs(value) <= LARGEST and (not value or abs(value) >= SMALLEST) else None


def duration(row: Row, name: str) -> float | None:
    """The cell as a time since the start; None where it is empty. Raises TableProblem with the line."""
    text = row.cells[name]
    if not text:
        return None
    value = decimal(text)
    if value is None:
        raise TableProblem(f"line {row.line}: {name} is not a time that can be reckoned with: {ascii(text)[:40]}")
    if value < 0:
        raise TableProblem(f"line {row.line}: {name} is {value:g}; a time cannot be negative")
    return value
