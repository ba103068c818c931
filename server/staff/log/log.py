"""The operation log: what was done at this clinic, in order, and the next line of somebody who is not enrolled."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any
from urllib.parse import urlencode

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.left_open import recording_closed
from server.clinic.log import check_line, correct_line, doubts_about_line, enrolled_after_all, log_operation
from server.clinic.operation_doubts import keep_as_checked
from server.clinic.operation_entry import ToBeChecked
from server.clinic.recorded import bring_back, take_back
from server.fields.check import EntryRefused
from server.fields.field import Errors
from server.fields.log import LOG, NOT_ENROLLED
from server.fields.operation_words import IMPLANT_TYPES, PROCEDURE_WORDS
from server.fields.stored import in_form
from server.models import Operation, OperationLog, Patient, Shoulder
from server.queries.clock import the_clinic
from server.queries.coverage import read_lines
from server.queries.current import COUNTED, OF_NOBODY_ENROLLED, STANDS, of_nobody_enrolled
from server.staff.page import words
from server.staff.page.asked_about import digests, has_checked
from server.staff.page.database import reading, writing
from server.staff.page.edit_form import ChangedMeanwhile, OthersChange, as_sent, chosen, row_to_change
from server.staff.page.record_form import entered, reason, sent
from server.staff.page.request_context import request_context, signed_in

KEPT = ("surgery_on", "surgeon", "procedure", "implant_type")  # mostly the same in the next line of one list
EARLIEST_YEAR = 1950
LABELS = {field.name: field.label for field in LOG}


def log_page() -> Response:
    today = request_context().today
    offered = {"surgery_on": today.isoformat(), **{name: request.args[name] for name in KEPT if name in request.args}}
    return _render(offered, {})


def log_post() -> AnyResponse:
    """Writes one line and shows the next empty one, with what mostly stays the same already filled.

    One that says the same as another is asked about first.
    """
    form = sent(LOG)
    try:
        values = entered(LOG, form, lambda given: check_line(given, request_context().today))
        with writing() as session:
            doubts = doubts_about_line(session, values)
            if doubts and not has_checked(doubts, form):
                raise ToBeChecked(doubts)
            stamp: dict[str, Any] = {"now": request_context().now, "by_id": signed_in().id}
            line = log_operation(session, values, **stamp, today=request_context().today)
            keep_as_checked(session, line, doubts, **stamp)
    except ToBeChecked as asked:
        return _render(form, {}, 422, asked.doubts)
    except EntryRefused as problem:
        return _render(form, problem.errors, 422)
    kept = {name: form[name] for name in KEPT if form.get(name)}
    return redirect(f"{url_for('staff.log')}?{urlencode({'done': 'logged', **kept})}")


def line_page(line_id: int) -> Response:
    return _render_line(line_id, None, {}, [])


def line_post(line_id: int) -> AnyResponse:
    """Saves a correction with its reason; whoever saves second sees what the first one changed."""
    form = sent(LOG)
    try:
        with writing() as session:
            line = _line(session, line_id, to_change=True)
            typed = as_sent(session, form, in_form(LOG, line), LOG, [line])
            values = entered(LOG, typed, lambda given: check_line(given, request_context().today))
            correct_line(
                session,
                line,
                values,
                now=request_context().now,
                today=request_context().today,
                by_id=signed_in().id,
                why=reason(typed),
            )
    except ChangedMeanwhile as problem:
        return _render_line(line_id, problem.values, {}, problem.changes, 422)
    except EntryRefused as problem:
        return _render_line(line_id, chosen(form), problem.errors, [], 422)
    return redirect(url_for("staff.log", done="corrected"))


def line_in_error(line_id: int) -> AnyResponse:
    """Marks a line as entered in error, or lifts the mark."""
    act = {"take": take_back, "bring": bring_back}.get(request.form.get("act", ""))
    if act is None:
        abort(400)
    try:
        with writing() as session:
            line = _line(session, line_id, to_change=True)
            year = line.surgery_on.year
            act(session, line, why=reason(request.form, "why_back"), now=request_context().now, by_id=signed_in().id)
    except EntryRefused as problem:
        return _render_line(line_id, None, problem.errors, [], 422)
    done = "taken-back" if request.form["act"] == "take" else "brought-back"
    return redirect(url_for("staff.log", year=year, done=done))


def line_enrolled(line_id: int) -> AnyResponse:
    """The patient of a line is enrolled: their operation of that day and side is counted from here on."""
    number = request.form.get("study_number", "").strip()
    try:
        with writing() as session:
            line = _line(session, line_id, to_change=True)
            found = select(Operation).join(Shoulder).join(Patient, Patient.id == Shoulder.patient_id)
            same = found.where(
                Patient.study_number == number,
                Shoulder.side == line.side,
                Operation.surgery_on == line.surgery_on,
                STANDS,
                COUNTED,
            )
            operation = session.scalars(same).first()
            if operation is None:
                said = words.gettext(
                    "This patient has no operation of that day on that side. Enter it on their page first."
                )
                raise EntryRefused({"study_number": [said]})
            closed = recording_closed(session.get_one(Patient, operation.shoulder.patient_id), line.surgery_on)
            if closed is not None:
                raise EntryRefused({"study_number": [closed]})
            enrolled_after_all(session, line, operation, now=request_context().now, by_id=signed_in().id)
    except EntryRefused as problem:
        return _render_line(line_id, None, problem.errors, [], 422)
    return redirect(url_for("staff.log", done="log-enrolled"))


def _year() -> int:
    """The year that is looked at: that of the address, or this one."""
    asked, this = request.args.get("year", ""), request_context().today.year
    return int(asked) if asked.isdecimal() and len(asked) == 4 and EARLIEST_YEAR <= int(asked) <= this else this


def _in_error(session: Session, year: int) -> list[OperationLog]:
    """Lines of a year that were entered in error, the newest first: what was marked by mistake is found again."""
    marked = select(OperationLog).where(OperationLog.taken_back_at.is_not(None), OF_NOBODY_ENROLLED)
    of_year = marked.where(OperationLog.surgery_on.between(date(year, 1, 1), date(year, 12, 31)))
    return list(session.scalars(of_year.order_by(OperationLog.surgery_on.desc(), OperationLog.id.desc())))


def _render(values: Mapping[str, str], errors: Errors, status: int = 200, doubts: Iterable[str] = ()) -> Response:
    year = _year()
    with reading() as session:
        html = render_template(
            "staff/log/log.html",
            rows=[field for field in LOG if field.in_front or field.beside],
            values=values,
            errors=errors,
            doubts=doubts,
            asked_about=digests(doubts),
            field_labels=LABELS,
            lines=read_lines(session, since=date(year, 1, 1), until=date(year, 12, 31)),
            in_error=_in_error(session, year),
            year=year,
            this_year=request_context().today.year,
            basis=the_clinic(session).log_basis,
            reasons=NOT_ENROLLED,
            procedures=PROCEDURE_WORDS,
            implants=IMPLANT_TYPES,
        )
    return make_response(html, status)


def _render_line(
    line_id: int, values: Mapping[str, str] | None, errors: Errors, meanwhile: list[OthersChange], status: int = 200
) -> Response:
    with reading() as session:
        line = _line(session, line_id)
        kept = in_form(LOG, line)
        html = render_template(
            "staff/log/line.html",
            line=line,
            rows=LOG,
            kept=kept,
            values=values or kept,
            errors=errors,
            meanwhile=meanwhile,
            field_labels={**LABELS, "study_number": words.gettext("Study number")},
        )
    return make_response(html, status)


def _line(session: Session, line_id: int, *, to_change: bool = False) -> OperationLog:
    """A line of somebody who is not enrolled, taken back or not."""
    line = row_to_change(session, OperationLog, line_id) if to_change else session.get(OperationLog, line_id)
    if line is None or not of_nobody_enrolled(session, line):
        abort(404)
    return line
