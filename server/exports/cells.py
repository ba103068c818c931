"""One cell: how a value is written, and how text is kept from being run.

A spreadsheet runs a cell that begins with `=`, `+`, `-` or `@`, in some languages also with the full-width form of these, and also after a
tab or a line end. Text that begins so gets an apostrophe in front, and so does text that begins so behind apostrophes of its own: whoever
takes one apostrophe off again has the text as it was recorded (GUARD). Numbers, dates and codes come from typed values and are never
touched, so -77 stays a number.
"""

import csv
import re
from collections.abc import Iterable
from datetime import UTC, date, datetime
from math import isfinite
from typing import IO, Any

RUN_BY_SPREADSHEETS = "=+-@＝＋－＠\t\r\n"
_GUARDED = re.compile(f"'*[{re.escape(RUN_BY_SPREADSHEETS)}]")
GUARD = (
    "Text that begins with = + - @, with the full-width form of one of them, or with a tab or line end has an apostrophe in front, so "
    "that no spreadsheet runs it; so has text that begins with apostrophes before one of these. Take one apostrophe off to have the text "
    "as recorded."
)


def safe_text(text: str) -> str:
    """The text itself, or with an apostrophe in front where a spreadsheet would take it for a formula."""
    return f"'{text}" if _GUARDED.match(text) else text


def cell(value: object) -> str:
    """Empty for None; 1 and 0 for true and false; whole numbers without a point; dates and instants by ISO 8601.

    A float that is no number is written as `inf` or `nan`.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "1" if value else "0"
    if isinstance(value, float) and isfinite(value):
        return str(int(value)) if value == int(value) else repr(value)
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    if isinstance(value, date | int):
        return str(value)
    return safe_text(str(value))


class Table:
    """A CSV file by RFC 4180: UTF-8 without a mark, comma, CRLF, quotes where needed. Counts its rows, without the header."""

    def __init__(self, file: IO[str], names: Iterable[str]) -> None:
        # csv.writer leaves floats and None to str(); `cell` has already made text of every value.
        self._writer: Any = csv.writer(file, lineterminator="\r\n")
        self._writer.writerow(list(names))
        self.rows = 0

    def write(self, values: Iterable[object]) -> None:
        self.write_cells([cell(value) for value in values])

    def write_cells(self, cells: list[str]) -> None:
        """Texts that `cell` has made."""
        self._writer.writerow(cells)
        self.rows += 1
