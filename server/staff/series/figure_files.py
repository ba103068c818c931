"""A figure of the series on paper, at the width of a journal's column or of a slide, as PDF or PNG; and the table behind it as CSV."""

import io
from datetime import UTC, datetime, time
from typing import get_args

from flask import Response, abort, make_response

from server.exports import cells
from server.outcomes.figures.print import PRINT_WIDTHS, Kind, Sheet, print_sheet
from server.outcomes.series.collector import collector_at_rest
from server.staff.page.database import reading
from server.staff.series.asked import Asked, read_asked
from server.staff.series.groups_part import groups_shown
from server.staff.series.part import Part, foot_of, whom
from server.staff.series.parts import PARTS
from server.staff.series.saved_head import declared_line, note_looked, saved_head

TYPES: dict[Kind, str] = {"pdf": "application/pdf", "png": "image/png"}


@collector_at_rest()
def figure_print(part: str, width: str, kind: Kind) -> Response:
    """Under the sentence that the address holds. Nothing is printed where the page draws nothing."""
    if width not in PRINT_WIDTHS or kind not in get_args(Kind):
        abort(404)
    asked, built, declared = _built(part)
    if built.draw is None:
        abort(404)
    foot = " ".join(filter(None, (foot_of(built, asked), declared, whom((built.asked or asked).sentence))))
    sheet = Sheet(built.question, built.draw(PRINT_WIDTHS[width].pixels), foot, PRINT_WIDTHS[width])
    # The day of the record and not the hour of the print: the same record gives the same file.
    made = print_sheet(sheet, kind, datetime.combine(asked.record.as_of, time(), UTC))
    return _file(made, TYPES[kind], f"{part}-{asked.record.as_of}-{width}.{kind}")


@collector_at_rest()
def figure_table(part: str) -> Response:
    """With the as-of date as the last column, so that a file that was parted from its folder still says it."""
    asked, built, _declared = _built(part)
    written = io.StringIO()
    lines = cells.Table(written, (*built.table.columns, "as_of"))
    for row in built.table.rows:
        lines.write((*row, asked.record.as_of))
    return _file(written.getvalue().encode(), "text/csv; charset=utf-8", f"{part}-{asked.record.as_of}.csv")


def _built(part: str) -> tuple[Asked, Part, str]:
    """The part, and how the words of the address came to be."""
    if part not in PARTS:
        abort(404)
    with reading() as session:
        asked = read_asked(session)
        built, declared = PARTS[part](asked), declared_line(saved_head(session, asked))
    if part != "flow":
        note_looked(asked, *(groups_shown(asked) if part == "groups" else ()))
    if not asked.record.rows or built.failed:
        abort(404)
    return asked, built, declared


def _file(content: bytes, mimetype: str, name: str) -> Response:
    response = make_response(content)
    response.headers["Content-Type"] = mimetype
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
