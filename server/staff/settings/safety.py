"""Who is told of a safety answer that waits while nobody opens Today: the settings, what went out, and the history."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from flask import make_response, redirect, render_template, request, url_for
from sqlalchemy import select
from sqlalchemy.orm import Session
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as AnyResponse

from server.clinic.history import Change, read_changes
from server.clinic.safety_net import change_net, net_to_change
from server.fields.change import WHY
from server.fields.check import Calendar, EntryRefused, check_values
from server.fields.field import Errors
from server.fields.read_form import read_form
from server.fields.safety_net import SAFETY_NET, WEEKDAYS
from server.fields.stored import in_form
from server.models import SafetyNet, SafetyNotice
from server.queries.safety_net import read_net, reader_of, readers
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.edit_form import ChangedMeanwhile, OthersChange, as_sent
from server.staff.page.request_context import request_context, signed_in
from server.staff.page.staff_names import staff_names
from server.words.phrase import Phrase, phrase

SHOWN = 100
PEOPLE = ("reader_id", "deputy_id")
BECAME: Mapping[str | None, Phrase] = {
    None: phrase("waits to be sent"),
    "sent": phrase("sent"),
    "seen": phrase("not sent: somebody was shown it first"),
    "nobody": phrase("not sent: the account is shut, or may no longer open Today"),
    "failed": phrase("not delivered"),
}


@dataclass(frozen=True)
class NotSaved:
    """What was typed, why it was not taken, and what somebody else changed meanwhile."""

    values: Mapping[str, str]
    errors: Errors = field(default_factory=dict)
    meanwhile: list[OthersChange] = field(default_factory=list)


def safety_page() -> str:
    with reading() as session:
        return _render(session)


def save_safety() -> AnyResponse:
    """Saves the settings, or shows them again with what was typed and why nothing was saved."""
    with writing() as session:
        not_saved = _save(session, _joined(request.form))
    if not_saved is None:
        return redirect(url_for("staff.safety", done="safety-net"))
    with reading() as session:
        return make_response(_render(session, not_saved), 422)


def _joined(form: MultiDict[str, str]) -> dict[str, str]:
    """Ticked days of the week come as inputs of one name."""
    return {**form.to_dict(), "weekdays": ",".join(form.getlist("weekdays"))}


def _save(session: Session, form: Mapping[str, str]) -> NotSaved | None:
    net = net_to_change(session)
    try:
        typed = as_sent(session, form, in_form(SAFETY_NET, net), SAFETY_NET, [net])
    except ChangedMeanwhile as problem:
        return NotSaved(problem.values, meanwhile=problem.changes)
    values, errors = read_form((*SAFETY_NET, WHY), typed)
    why, today = values.pop("why"), request_context().today
    errors |= check_values((WHY,), {"why": why}, Calendar(today))
    if errors:
        return NotSaved(typed, errors)
    by_id, said = signed_in().id, str(why) if why else None
    try:
        change_net(session, values, now=request_context().now, today=today, by_id=by_id, why=said)
    except EntryRefused as refused:
        return NotSaved(typed, refused.errors)
    return None


def _render(session: Session, not_saved: NotSaved | None = None) -> str:
    net, staff = read_net(session), staff_names(session)
    kept = in_form(SAFETY_NET, net)
    zone = request_context().time_zone
    return render_template(
        "staff/settings/safety.html",
        fields={row.name: row for row in SAFETY_NET},
        hours=[row for row in SAFETY_NET if row.name not in (*PEOPLE, "weekdays")],
        weekdays=WEEKDAYS,
        people=[(str(each.id), each.name) for each in session.scalars(readers())],
        problems=_problems(session, net, staff),
        kept=kept,
        values=not_saved.values if not_saved else kept,
        not_saved=not_saved or NotSaved({}),
        labels_of={"why": WHY.label, **{row.name: row.label for row in SAFETY_NET}},
        notices=_notices(session, staff),
        history=[_told(change, staff) for change in read_changes(session, [("safety_net", 1)], most=SHOWN)],
        moment=lambda at: words.moment(at, zone),
    )


def _problems(session: Session, net: SafetyNet, staff: Mapping[int, str]) -> list[str]:
    """Why the net would not reach somebody as it stands."""
    if reader_of(session, net.reader_id) is None and reader_of(session, net.deputy_id) is None:
        nobody = words.gettext("Nobody is told: a safety answer waits on Today until somebody opens it.")
    else:
        nobody = ""
    gone = [
        words.gettext("%(name)s can no longer be written to: the account is shut, or may no longer open Today.")
        % {"name": staff.get(account_id, "")}
        for account_id in (net.reader_id, net.deputy_id)
        if account_id is not None and reader_of(session, account_id) is None
    ]
    return [*gone, nobody] if nobody else gone


def _notices(session: Session, staff: Mapping[int, str]) -> list[tuple[SafetyNotice, str, str]]:
    """The newest first, with to whom and what became of it."""
    rows = session.scalars(select(SafetyNotice).order_by(SafetyNotice.id.desc()).limit(SHOWN))
    return [(row, staff[row.account_id], words.say(BECAME[row.outcome])) for row in rows]


def _told(change: Change, staff: Mapping[int, str]) -> tuple[Change, str]:
    """One change as a sentence; accounts by the names of their people."""
    old, new = change.old, change.new
    if change.field in PEOPLE:
        old, new = (staff.get(int(str(each)), "") if each else "" for each in (old, new))
    by = staff.get(change.by_id or 0, words.gettext("the command line or the program"))
    return change, words.gettext("%(label)s: %(old)s became %(new)s, by %(by)s.") % {
        "label": words.say(change.label), "old": words.quoted(old), "new": words.quoted(new), "by": by,
    }  # fmt: skip
