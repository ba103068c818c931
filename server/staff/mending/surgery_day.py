"""A day of surgery put right after answers came: what it does to each form is shown before it is done."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from flask import abort, render_template, request
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from server.clinic import surgery
from server.fields.change import SURGERY_DAY
from server.fields.check import EntryRefused
from server.fields.operation import OPERATION
from server.fields.stored import in_form
from server.models import FollowUp, Operation, Patient, Timepoint
from server.queries.facts import status_of
from server.staff.mending.acts import Page, Shown, act, is_ticked, mend, read, show
from server.staff.page import words
from server.staff.page.edit_form import as_sent, row_to_change
from server.staff.page.request_context import request_context
from server.timepoints.restate import restate
from server.words import labels

KEPT = tuple(field for field in OPERATION if field.name == "surgery_on")


@dataclass(frozen=True)
class Told:
    """One form before and after, in words."""

    title: str
    before: str
    after: str


class _OnlyLookedAt(Exception):
    """Ends the transaction of the very change, so that what the page tells cannot differ from what happens."""


def day_page(patient_id: int, operation_id: int) -> str:
    return show(patient_id, _page_of(operation_id))


def save_day(patient_id: int, operation_id: int) -> AnyResponse | str:
    """Tells what would change, and saves it once that was read."""
    told: list[Told] = []

    def change(session: Session, patient: Patient) -> None:
        operation = _operation(session, patient, operation_id)
        day = _day_of(session, patient, operation)
        before = _forms(session, patient)
        _move(session, patient, operation, day)
        if not (is_ticked("told") and request.form.get("told-of") == day.isoformat()):
            session.flush()
            session.expire_all()
            told.extend(_differing(before, _forms(session, patient)))
            raise _OnlyLookedAt

    try:
        return mend(patient_id, change, page=_page_of(operation_id), done="mended", form="day")
    except _OnlyLookedAt:
        return show(patient_id, _page_of(operation_id, told), Shown("day", request.form))


def _operation(session: Session, patient: Patient, operation_id: int) -> Operation:
    operation = row_to_change(session, Operation, operation_id)
    if operation is None or operation.shoulder.patient_id != patient.id or operation.surgery_on is None:
        abort(404)
    return operation


def _day_of(session: Session, patient: Patient, operation: Operation) -> date:
    typed = as_sent(session, request.form, in_form(KEPT, operation), KEPT, [operation])
    day = read(SURGERY_DAY, typed, born=patient.birth_on).day("surgery_on")
    if day is None or day == operation.surgery_on:
        raise EntryRefused({"surgery_on": [words.gettext("Enter another day than the one that stands there.")]})
    return day


def _move(session: Session, patient: Patient, operation: Operation, day: date) -> None:
    doing = act()
    when = {"now": doing.now, "today": doing.today, "by_id": doing.by_id}
    surgery.surgery_done(session, operation, day, why=doing.why, **when)  # type: ignore[arg-type]
    restate(session, patient, **when)  # type: ignore[arg-type]


def _forms(session: Session, patient: Patient) -> dict[int, tuple[str, str]]:
    """Of each form its title, and where it lies with its state in words."""
    rows = select(Timepoint).join(FollowUp).join(Operation).where(Timepoint.patient_id == patient.id)
    return {
        row.id: (_title(row), _stands(row)) for row in session.scalars(rows.order_by(Timepoint.due_on, Timepoint.id))
    }


def _title(row: Timepoint) -> str:
    side = labels.SHOULDER[row.follow_up.operation.shoulder.side]
    return f"{words.say(side)}, {words.timepoint(row.code)}"


def _stands(row: Timepoint) -> str:
    status = words.say(labels.STATUS[status_of(row, request_context().today)])
    if row.answered_on is not None and row.window_state is not None:
        status = words.gettext("answered %(window)s") % {"window": words.say(labels.WINDOW[row.window_state])}
    opens, closes = (
        words.day(row.opens_on),
        words.day(row.closes_on) if row.closes_on else words.gettext("the day of surgery"),
    )
    return words.gettext("%(status)s, window %(opens)s to %(closes)s") % {
        "status": status,
        "opens": opens,
        "closes": closes,
    }


def _differing(before: Mapping[int, tuple[str, str]], after: Mapping[int, tuple[str, str]]) -> list[Told]:
    nothing = words.gettext("not there")
    rows = [*before, *(each for each in after if each not in before)]
    found = []
    for each in rows:
        title = (after.get(each) or before[each])[0]
        was, will = before.get(each, ("", nothing))[1], after.get(each, ("", nothing))[1]
        if was != will:
            found.append(Told(title, was, will))
    return found


def _page_of(operation_id: int, told: list[Told] | None = None) -> Page:
    """`told`: what the day that was typed would change; None before anybody has asked."""

    def page(session: Session, patient: Patient, shown: Shown) -> str:
        operation = session.get(Operation, operation_id)
        if operation is None or operation.shoulder.patient_id != patient.id or operation.surgery_on is None:
            abort(404)
        kept = in_form(KEPT, operation)
        return render_template(
            "staff/mending/surgery_day.html",
            patient=patient,
            operation=operation,
            side=operation.shoulder.side,
            kept=kept,
            values=shown.values or kept,
            shown=shown,
            told=told,
            day=SURGERY_DAY[0],
        )

    return page
