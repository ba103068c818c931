"""The clinic's holidays: which stand, one entered, one removed, and who did so when."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from operator import itemgetter
from types import MappingProxyType

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.holidays import add_holiday, remove_holiday
from server.fields.check import EntryRefused
from server.fields.field import Errors
from server.fields.holiday import HOLIDAY
from server.fields.read_form import read_form
from server.models import ClinicHoliday
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.staff_names import staff_names

HISTORY_SHOWN = 100
NOTHING: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True)
class NotEntered:
    """What was typed, and why it was not taken."""

    values: Mapping[str, str] = field(default_factory=lambda: NOTHING)
    errors: Errors = field(default_factory=dict)


def holidays_page() -> str:
    with reading() as session:
        return _render(session, NotEntered())


def add_holiday_post() -> AnyResponse:
    """Enters the holiday, or shows the page again with what was typed and why it was not taken."""
    values, errors = read_form(HOLIDAY, request.form)
    if not errors:
        try:
            with writing() as session:
                add_holiday(session, values, now=request_context().now, today=request_context().today, by_id=_me())
            return redirect(url_for("staff.holidays", done="holiday-added"))
        except EntryRefused as refused:
            errors = refused.errors
    with reading() as session:
        return _shown_again(session, NotEntered(request.form, errors))


def remove_holiday_post(holiday_id: int) -> AnyResponse:
    """To press it twice does no more than once."""
    with writing() as session:
        if session.get(ClinicHoliday, holiday_id) is None:
            abort(404)
        remove_holiday(session, holiday_id, now=request_context().now, by_id=_me())
    return redirect(url_for("staff.holidays", done="holiday-removed"))


def _me() -> int:
    return signed_in().id


def _shown_again(session: Session, entered: NotEntered) -> Response:
    return make_response(_render(session, entered), 422)


def _render(session: Session, entered: NotEntered) -> str:
    rows = session.scalars(select(ClinicHoliday).order_by(ClinicHoliday.first_on, ClinicHoliday.id)).all()
    return render_template(
        "staff/settings/holidays.html",
        fields={row.name: row for row in HOLIDAY},
        standing=[(row, holiday_days(row)) for row in rows if row.removed_at is None],
        history=_history(session, rows),
        values=entered.values,
        errors=entered.errors,
    )


def holiday_days(row: ClinicHoliday) -> str:
    """The days in words; of a yearly one without the year."""
    say = words.day_of_any_year if row.yearly else words.day
    if row.first_on == row.last_on:
        return say(row.first_on)
    return words.gettext("%(first)s to %(last)s") % {"first": say(row.first_on), "last": say(row.last_on)}


def _history(session: Session, rows: Sequence[ClinicHoliday]) -> list[tuple[str, str]]:
    """The newest first: the moment, and what was done by whom."""
    staff, zone, done = staff_names(session), request_context().time_zone, []
    somebody = words.gettext("the command line or the program")
    for row in rows:
        what = f"{holiday_days(row)} ({row.name})" if row.name else holiday_days(row)
        by = staff.get(row.added_by_id or 0, somebody)
        done.append((row.added_at, words.gettext("%(what)s: entered by %(by)s.") % {"what": what, "by": by}))
        if row.removed_at is not None:
            by = staff.get(row.removed_by_id or 0, somebody)
            done.append((row.removed_at, words.gettext("%(what)s: removed by %(by)s.") % {"what": what, "by": by}))
    newest = sorted(done, key=itemgetter(0), reverse=True)[:HISTORY_SHOWN]
    return [(words.moment(at, zone), said) for at, said in newest]
