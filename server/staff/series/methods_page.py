"""The methods text of a series and its filled list of items, as a page, as plain text and as CSV, in each language of the pages."""

import io
from collections.abc import Sequence
from textwrap import fill

from flask import Response, g, make_response, render_template, request

from server.exports import cells
from server.outcomes.series.collector import collector_at_rest
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.series.asked import Asked, read_asked
from server.staff.series.methods_text import Section, methods_sections
from server.staff.series.report_items import Filled, filled_items
from server.staff.series.saved_head import SavedHead, note_looked, saved_head
from server.words.catalogue import languages
from server.words.language import Words

WIDTH = 100


@collector_at_rest()
def methods_page() -> str:
    asked, head, sections, items = _read()
    return render_template(
        "staff/series/methods.html",
        asked=asked.address_alone,
        head=head,
        sections=sections,
        items=items,
        headings={section.name: section.heading for section in sections},
        language=words.spoken().language,
        languages=[(code, Words("staff", code).language_name(code)) for code in languages("staff")],
    )


@collector_at_rest()
def methods_file() -> Response:
    """The paragraphs as plain text."""
    asked, _head, sections, _items = _read()
    paragraphs = [f"{section.heading}\n\n{fill(section.text, WIDTH, break_on_hyphens=False)}" for section in sections]
    return _sent("\n\n".join(paragraphs) + "\n", "text/plain", f"methods-{asked.record.as_of}.txt")


@collector_at_rest()
def items_file() -> Response:
    """The list of items with what answers each."""
    asked, _head, _sections, items = _read()
    written = io.StringIO()
    table = cells.Table(written, ("list", "item", "asks", "answer", "from"))
    for item in items:
        table.write((item.list, item.number, item.asks, item.answer, "data" if item.by_data else "authors"))
    return _sent(written.getvalue(), "text/csv", f"strobe-record-{asked.record.as_of}.csv")


def _read() -> tuple[Asked, SavedHead | None, Sequence[Section], Sequence[Filled]]:
    """It tells how many were revised and died, so whoever reads it has looked."""
    wanted = request.args.get("language", "")
    if wanted in languages("staff"):
        g.words = Words("staff", wanted)
    with reading() as session:
        asked = read_asked(session)
        head = saved_head(session, asked)
        sections = methods_sections(session, asked, head)
    note_looked(asked)
    return asked, head, sections, filled_items(sections)


def _sent(text: str, mimetype: str, name: str) -> Response:
    response = make_response(text)
    response.headers["Content-Type"] = f"{mimetype}; charset=utf-8"
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
