"""Saving a sentence: the page shows it with the counts of the log and no figure, so that a series can be set before anybody looks."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.saved_series import (
    SeriesRefused,
    ToSave,
    first_look,
    last_version,
    other_sentences,
    save_series,
    save_version,
)
from server.fields.check import Calendar, EntryRefused, check_values
from server.fields.field import Errors, Field, named
from server.fields.read_form import read_form
from server.fields.series import NOTE, SERIES
from server.models import Series, SeriesVersion
from server.models.series import DECLARED, EXPLORED, SET_BEFORE_LOOKING
from server.outcomes.series.flow import Flow, flow_of
from server.outcomes.series.row import Record, people
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.edit_form import row_to_change
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.staff_names import staff_names
from server.staff.series.asked import Address, read_address, record_of
from server.staff.series.choosing import choosing, word_in_address
from server.staff.series.part import people_words
from server.staff.series.saved_address import address_of, digests_of, options_text, sentence_of, sentence_text
from server.staff.series.saved_versions import version_line

_NAME = named(SERIES, "name")


def save_page() -> str:
    return _page({}, {})


def save_post() -> AnyResponse:
    """Saves the sentence of the address, new or as the next version; or shows the page again with the reason why not."""
    said, form = read_address(), request.form.to_dict()
    try:
        with reading() as session:
            shoulders = _shoulders(session, record_of(session, said), said, _series(session, said.saved))
        with writing() as session:
            series, version = _save(session, said, form, shoulders)
            to = _goes_to(session, series, version)
    except SeriesRefused as problem:
        return _refused(form, {problem.about: [words.say(problem.why)]})
    except EntryRefused as problem:
        return _refused(form, problem.errors)
    return redirect(to)


def _shoulders(session: Session, record: Record, said: Address, series: Series | None) -> set[bytes]:
    """Whom the sentence and the earlier versions of the series mean today."""
    of_series = select(SeriesVersion).where(SeriesVersion.series_id == (series.id if series is not None else None))
    sentences = {said.sentence, *map(sentence_of, session.scalars(of_series))}
    return digests_of(*(flow_of(record, each).rows_at("meant") for each in sentences))


def _save(
    session: Session, said: Address, form: Mapping[str, str], shoulders: set[bytes]
) -> tuple[Series, SeriesVersion]:
    series = _series(session, said.saved, to_change=True)
    version = replace(_to_save(said, form, needs_note=series is not None), shoulders=shoulders)
    stamp: dict[str, Any] = {"now": request_context().now, "by_id": signed_in().id}
    if series is not None:
        return series, save_version(session, series, version, **stamp)
    return save_series(session, _text(_NAME, form), version, **stamp)


def _goes_to(session: Session, series: Series, version: SeriesVersion) -> str:
    """To the figures, but not where nobody has looked yet: that is a step of its own."""
    if version.declared == EXPLORED:
        return url_for("staff.series", **address_of(version), done="series-saved")
    session.flush()
    return url_for("staff.saved_series", series_id=series.id, done="series-set")


def _to_save(said: Address, form: Mapping[str, str], *, needs_note: bool) -> ToSave:
    """Raises EntryRefused with all that is missing."""
    declared, number = form.get("declared", ""), form.get("number", "")
    if declared not in DECLARED or not (number.isascii() and number.isdigit() and len(number) < 9):
        abort(400)
    errors: Errors = {}
    note = ""
    try:
        note = _text(NOTE, form)
    except EntryRefused as problem:
        errors |= problem.errors
    if needs_note and not note and not errors:
        errors["note"] = [words.gettext("Say what changed, and why: the head of the page and the methods text say it.")]
    if declared == SET_BEFORE_LOOKING and not form.get("sworn"):
        errors["sworn"] = [words.gettext("Tick this, or save it as explored.")]
    if errors:
        raise EntryRefused(errors)
    return ToSave(int(number), sentence_text(said.sentence), options_text(said.chosen), declared, note or None)


def _text(field: Field, form: Mapping[str, str]) -> str:
    """Raises EntryRefused."""
    values, unreadable = read_form((field,), form)
    errors = {**check_values((field,), values, Calendar(request_context().today)), **unreadable}
    if errors:
        raise EntryRefused(errors)
    return str(values[field.name] or "")


def _refused(form: Mapping[str, str], errors: Errors) -> Response:
    return make_response(_page(form, errors), 422)


def _page(values: Mapping[str, str], errors: Errors) -> str:
    with reading() as session:
        said = read_address()
        record = record_of(session, said, texts=word_in_address() == "text")
        series = _series(session, said.saved)
        last = last_version(session, series) if series is not None else None
        sentence, staff = sentence_text(said.sentence), staff_names(session)
        look = first_look(session, sentence, _shoulders(session, record, said, series), series)
        return render_template(
            "staff/series/save.html",
            asked=said,
            series=series,
            last=version_line(last, staff) if last is not None else None,
            number=last.number + 1 if last is not None else 1,
            looked=words.at_and_by(words.moment(look.at, request_context().time_zone), look.by_id, staff)
            if look is not None
            else "",
            same_words=look is None or look.same_words,
            others=other_sentences(session, sentence),
            counts=_counts(flow_of(record, said.sentence)),
            values=values,
            errors=errors,
            **choosing(said, record, "staff.save_series"),
        )


def _counts(flow: Flow) -> Mapping[str, int | str]:
    """Of the log alone: what anybody answered is no part of it."""
    log, meant, taking_part = (flow.rows_at(step) for step in ("log", "meant", "taking_part"))
    return {
        "log": len(log),
        "meant": len(meant),
        "people": people_words(people(meant)),
        "taking_part": len(taking_part),
    }


def _series(session: Session, saved: Mapping[str, str], *, to_change: bool = False) -> Series | None:
    """The one that the address names; None for a new one. One that is not there is no page."""
    number = saved.get("series", "")
    if not number:
        return None
    series_id = int(number) if number.isascii() and number.isdigit() and len(number) < 9 else 0
    series = row_to_change(session, Series, series_id) if to_change else session.get(Series, series_id)
    if series is None:
        abort(404)
    return series
