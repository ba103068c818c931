"""Draws the random quarter of the silent, and gives out the lots of a draw, so that a reviewer can cast them again."""

import io

from flask import Response, abort, make_response, redirect, url_for
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.silence_draw import draw_quarter, lots_of
from server.exports import cells
from server.models import SilenceDraw
from server.schedule.lots import lot
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, signed_in
from server.staff.series.asked import read_address

COLUMNS = ("study_number", "timepoints", "lot", "drawn")


def draw_post() -> AnyResponse:
    """Casts the lots and goes back to the page that it was asked from."""
    context = request_context()
    with writing() as session:
        draw = draw_quarter(session, now=context.now, today=context.today, by_id=signed_in().id)
        done = "silence-drawn" if draw is not None else "silence-nobody"
    return redirect(url_for("staff.series", **read_address().address(), done=done, _anchor="quarter"))


def lots_file(draw_id: int) -> Response:
    """Everybody whose lot was cast, the smallest lot first; no name."""
    written = io.StringIO()
    table = cells.Table(written, COLUMNS)
    with reading() as session:
        draw = session.get(SilenceDraw, draw_id) or abort(404)
        rows = [(lot(draw.seed, number), number, codes, drawn) for number, codes, drawn in lots_of(session, draw)]
    for cast, number, codes, drawn in sorted(rows):
        table.write((number, " ".join(codes), cast, int(drawn)))
    response = make_response(written.getvalue())
    response.headers["Content-Type"] = "text/csv; charset=utf-8"
    response.headers["Content-Disposition"] = f'attachment; filename="lots-{draw_id}.csv"'
    return response
