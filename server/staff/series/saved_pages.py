"""The saved series: all of them, and one with its versions, its name, what its authors declare, and whether it is in use."""

import io
from collections.abc import Mapping
from dataclasses import dataclass

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.history import read_changes
from server.clinic.saved_series import SeriesRefused, bring_back_series, correct_series, withdraw_series
from server.exports import cells
from server.fields.check import Calendar, EntryRefused, check_values
from server.fields.field import Errors
from server.fields.read_form import read_form
from server.fields.series import SERIES
from server.fields.stored import in_form
from server.models import Series, SeriesVersion
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.edit_form import ChangedMeanwhile, OthersChange, as_sent, chosen, row_to_change
from server.staff.page.paging import At, offset_in
from server.staff.page.record_form import reason
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.staff_names import staff_names
from server.staff.series.saved_address import address_of
from server.staff.series.saved_versions import VersionLine, version_line

PAGE = 50
HISTORY_SHOWN = 100
OF_VERSION = ("number", "declared", "saved_at", "sentences_before", "sentence", "options", "note")
COLUMNS = ("series", "name", "withdrawn", *OF_VERSION)


@dataclass(frozen=True)
class SavedLine:
    """A saved series with its last version."""

    series: Series
    last: VersionLine


def saved_list() -> str:
    """Those in use, the one that was saved last first; those withdrawn under them."""
    with reading() as session:
        in_use, withdrawn = _lines(session)
        at = At(offset_in(request.args.get("from", "")), PAGE, len(in_use))
        return render_template(
            "staff/series/saved_list.html", lines=in_use[at.offset : at.offset + PAGE], withdrawn=withdrawn, at=at
        )


def saved_page(series_id: int) -> str:
    return _page(series_id, {}, {}, [])


def saved_open(series_id: int, number: int) -> AnyResponse:
    """The figures of one version, by an address of its own that stays."""
    with reading() as session:
        version = session.get(SeriesVersion, (series_id, number)) or abort(404)
        to = url_for("staff.series", **address_of(version))
    return redirect(to)


def saved_post(series_id: int) -> AnyResponse:
    """Its name and financial interests; whoever saves second sees what the first one changed."""
    form = request.form.to_dict()
    try:
        with writing() as session:
            series = row_to_change(session, Series, series_id) or abort(404)
            typed = as_sent(session, form, in_form(SERIES, series), SERIES, [series])
            values, unreadable = read_form(SERIES, typed)
            errors = {**check_values(SERIES, values, Calendar(request_context().today)), **unreadable}
            if errors:
                raise EntryRefused(errors)
            correct_series(session, series, values, now=request_context().now, by_id=signed_in().id)
    except ChangedMeanwhile as problem:
        return _again(series_id, problem.values, {}, problem.changes)
    except SeriesRefused as problem:
        return _again(series_id, chosen(form), {problem.about: [words.say(problem.why)]})
    except EntryRefused as problem:
        return _again(series_id, chosen(form), problem.errors)
    return redirect(url_for("staff.saved_series", series_id=series_id, done="series-corrected"))


def withdraw_post(series_id: int) -> AnyResponse:
    """Withdraws it with a reason, or brings it back with one."""
    act = {"withdraw": withdraw_series, "bring": bring_back_series}.get(request.form.get("act", ""))
    if act is None:
        abort(400)
    try:
        with writing() as session:
            series = row_to_change(session, Series, series_id) or abort(404)
            act(session, series, why=reason(request.form), now=request_context().now, by_id=signed_in().id)
    except SeriesRefused as problem:
        return _again(series_id, {}, {"why": [words.say(problem.why)]})
    except EntryRefused as problem:
        return _again(series_id, {}, problem.errors)
    done = "series-withdrawn" if request.form["act"] == "withdraw" else "series-back"
    return redirect(url_for("staff.saved_series", series_id=series_id, done=done))


def versions_file() -> Response:
    """Every version of every saved series, those withdrawn among them: for whoever judges what was set before looking."""
    written = io.StringIO()
    table = cells.Table(written, COLUMNS)
    with reading() as session:
        found = select(Series, SeriesVersion).join(SeriesVersion, SeriesVersion.series_id == Series.id)
        for series, version in session.execute(found.order_by(Series.id, SeriesVersion.number)):
            of_series = (series.id, series.name, series.withdrawn_at is not None)
            table.write((*of_series, *(getattr(version, name) for name in OF_VERSION)))
    response = make_response(written.getvalue())
    response.headers["Content-Type"] = "text/csv; charset=utf-8"
    response.headers["Content-Disposition"] = f'attachment; filename="saved-series-{request_context().today}.csv"'
    return response


def _lines(session: Session) -> tuple[list[SavedLine], list[SavedLine]]:
    staff = staff_names(session)
    last: dict[int, SeriesVersion] = {}
    for version in session.scalars(select(SeriesVersion).order_by(SeriesVersion.number)):
        last[version.series_id] = version
    rows = sorted(session.scalars(select(Series)), key=lambda row: (last[row.id].saved_at, row.id), reverse=True)
    found = [SavedLine(row, version_line(last[row.id], staff)) for row in rows]
    return [each for each in found if not each.series.withdrawn_at], [
        each for each in found if each.series.withdrawn_at
    ]


def _again(
    series_id: int, values: Mapping[str, str], errors: Errors, meanwhile: list[OthersChange] | None = None
) -> Response:
    return make_response(_page(series_id, values, errors, meanwhile or []), 422)


def _page(series_id: int, values: Mapping[str, str], errors: Errors, meanwhile: list[OthersChange]) -> str:
    with reading() as session:
        series = session.get(Series, series_id) or abort(404)
        staff = staff_names(session)
        found = select(SeriesVersion).where(SeriesVersion.series_id == series.id)
        versions = list(session.scalars(found.order_by(SeriesVersion.number.desc())))
        kept = in_form(SERIES, series)
        return render_template(
            "staff/series/saved.html",
            series=series,
            versions=[version_line(version, staff) for version in versions],
            latest=address_of(versions[0]),
            kept=kept,
            values=values or kept,
            errors=errors,
            meanwhile=meanwhile,
            history=read_changes(session, [("series", series.id)], most=HISTORY_SHOWN),
            staff=staff,
            moment=lambda at: words.moment(at, request_context().time_zone),
        )
