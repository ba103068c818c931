"""The audit trail, and who looked at whose record, the newest first. It holds no name and no answer of a patient."""

import io
import re
from collections.abc import Iterator
from dataclasses import replace

from flask import Response, render_template, request, stream_with_context
from markupsafe import Markup, escape
from sqlalchemy import select

from server.exports.cells import Table
from server.models import AuditEntry, StaffAccount
from server.staff.audit.asked import PROGRAM, VIEWS, asked_in
from server.staff.audit.audit_words import KINDS
from server.staff.audit.found import Row, newest, patients_asked
from server.staff.audit.told import Told, tell
from server.staff.page import words
from server.staff.page.database import reading
from server.staff.page.request_context import request_context

COLUMNS = ("at", "by_id", "by", "action", "what", "thing", "which", "study_number", "details")
VIEW_COLUMNS = ("hour", "by_id", "by", "study_number")
CHUNK = 1000
HASH, HASH_SHOWN = re.compile(r"[0-9a-f]{32,}"), 12


def audit_trail() -> str:
    """One page of what the address asks for: who did what to which thing, or who looked at whom."""
    asked = asked_in(request.args)
    with reading() as session:
        found, before = newest(session, asked, request_context().time_zone)
        people = session.execute(select(StaffAccount.id, StaffAccount.name).order_by(StaffAccount.name)).all()
        program = [] if asked.show == VIEWS else [(PROGRAM, words.gettext("the program"))]
        return render_template(
            "staff/audit/audit.html",
            asked=asked,
            entries=tell(session, found),
            short_hashes=_short_hashes,
            older=asked.address(before=before) if before else None,
            staff=[(str(row.id), row.name) for row in people] + program,
            kinds=[(code, each.title) for code, each in KINDS.items()],
            unknown=asked.patient if asked.patient and not patients_asked(session, asked.patient) else "",
        )


def _short_hashes(detail: str) -> Markup:
    """A SHA-256 by its beginning, the whole of it in the title. The file keeps it as it stands."""
    return Markup(
        HASH.sub(lambda found: f'<abbr title="{found[0]}">{found[0][:HASH_SHOWN]}…</abbr>', str(escape(detail)))
    )


def audit_file() -> Response:
    """The same rows as a file, all pages of them; written while it is sent, so that a million rows need no memory."""
    response = Response(stream_with_context(_lines()), mimetype="text/csv")
    kept = "who-looked" if request.args.get("show") == VIEWS else "audit"
    response.headers["Content-Disposition"] = f'attachment; filename="{kept}-{request_context().today}.csv"'
    return response


def _lines() -> Iterator[str]:
    """Read in pieces, each for itself, so that nobody waits for a long file."""
    asked = replace(asked_in(request.args), before="")
    text = io.StringIO(newline="")
    table = Table(text, VIEW_COLUMNS if asked.show == VIEWS else COLUMNS)
    more = True
    while more:
        with reading() as session:
            found, before = newest(session, asked, request_context().time_zone, CHUNK)
            for row, told in zip(found, tell(session, found), strict=True):
                table.write(_cells(row, told))
        yield text.getvalue()
        text.seek(0)
        text.truncate()
        asked, more = replace(asked, before=before), bool(before)


def _cells(row: Row, told: Told) -> list[object]:
    if isinstance(row, AuditEntry):
        codes = (row.action, told.what, row.thing, told.which)
        return [row.at, row.by_id, told.who, *codes, told.number, told.detail]
    return [row.hour, row.by_id, told.who, told.number]
