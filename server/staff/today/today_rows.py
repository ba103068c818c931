"""The rows of Today in words: who, why, the history, the number to call, and where each button leads."""

from dataclasses import dataclass

from flask import url_for
from markupsafe import Markup
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.reported_events import reportable
from server.models import ClinicEvent, Flag, Shoulder
from server.staff.page import words
from server.staff.page.request_context import request_context
from server.staff.page.shoulder_rulers import read_rulers
from server.staff.page.telephone import dialled
from server.staff.page.today_place import TodayPlace, timepoint_key, today_address
from server.words import labels
from server.words.phrase import phrase_in
from server.worklist import WorkRow
from server.worklist.queries import SAID_KINDS

STATE = {
    "safety_answer": phrase_in("work", "safety answer"),
    **{kind: labels.FLAG[kind] for kind in SAID_KINDS},
    "held": phrase_in("work", "held"),
    "locked_link": phrase_in("work", "link locked"),
    "operated_elsewhere": phrase_in("work", "to check"),
    "event_reported": phrase_in("work", "event reported"),
    "contact_change": phrase_in("work", "contact changed"),
    "lost_proposal": phrase_in("work", "lost?"),
    "consent_again": phrase_in("work", "of age"),
    "event_left_behind": phrase_in("work", "event to check"),
    "surgery_passed": phrase_in("work", "done?"),
    "baseline_missing": phrase_in("work", "baseline missing"),
    "non_responder": phrase_in("work", "no answer"),
    "overdue": phrase_in("work", "overdue"),
    "withheld": phrase_in("work", "not sent"),
    "later": phrase_in("work", "later"),
    "due": phrase_in("work", "open"),
}
# Where a call is written down in the row itself, and where the next message can be sent by hand.
CALLED = ("asked_for_call", "baseline_missing", "non_responder", "overdue", "later", "due")
CALLED_FIRST = ("asked_for_call", "non_responder")  # the row's own button
SENT_BY_HAND = ("baseline_missing", "overdue")
MADE_EVENTS = (
    "safety_answer",
    "event_reported",
    "operated_elsewhere",
)  # one click writes down what the patient reported


@dataclass(frozen=True)
class Shown:
    """`row` in words. `key` names it on the page; `dial` is empty without a number; `called` is empty where no call is written down.

    `as_event`: where one click makes an event of it; `place` is where that leads back to.
    """

    row: WorkRow
    key: str
    name: str
    title: str
    reason: str
    action: str
    state: str
    target: str
    person: str
    strip: Markup
    dial: str
    called: str
    as_event: str
    place: TodayPlace


def shown_rows(session: Session, rows: list[WorkRow], kind: str, offset: str) -> list[Shown]:
    """`kind` and `offset`: the list as it is looked at, to which a button's page leads back."""
    ids = {row.shoulder_id for row in rows if row.shoulder_id is not None}
    shoulders = session.scalars(select(Shoulder).where(Shoulder.id.in_(ids))).all()
    rulers = read_rulers(session, shoulders, today=request_context().today)
    to_make = _without_event(session, rows)
    return [
        _shown(
            row,
            TodayPlace(kind, offset, next_key(rows, place)),
            rulers.get(row.shoulder_id or 0, Markup("")),
            makes_event=not to_make.isdisjoint(row.flag_ids),
        )
        for place, row in enumerate(rows)
    ]


def _without_event(session: Session, rows: list[WorkRow]) -> set[int]:
    """The flags of these rows whose answer can be an event and is none yet."""
    ids = [flag_id for row in rows if row.kind in MADE_EVENTS for flag_id in row.flag_ids]
    flags = session.scalars(select(Flag).where(Flag.id.in_(ids))).all()
    answers = {flag.response_id for flag in flags}
    made = select(ClinicEvent.response_id, ClinicEvent.item).where(ClinicEvent.response_id.in_(answers))
    there = {tuple(each) for each in session.execute(made)}
    return {flag.id for flag in flags if (item := reportable(flag.item)) and (flag.response_id, item) not in there}


def key_of(row: WorkRow) -> str:
    """The same for the same thing whenever the page is loaded."""
    if row.flag_id is not None:
        return f"flag-{row.flag_id}"
    if row.envelope_id is not None:
        return f"envelope-{row.envelope_id}"
    if row.timepoint_id is not None:
        return timepoint_key(row.timepoint_id)
    return f"{row.kind.replace('_', '-')}-{row.patient_id}-{row.side or 'both'}"


def next_key(rows: list[WorkRow], place: int) -> str:
    """The next row of somebody else: what is written down about one form may take both rows of a patient off the list."""
    here = rows[place]
    later = (row for row in rows[place + 1 :] if row.patient_id is None or row.patient_id != here.patient_id)
    return next((key_of(row) for row in later), "")


def _shown(row: WorkRow, place: TodayPlace, strip: Markup, *, makes_event: bool) -> Shown:
    key = key_of(row)
    opened = today_address(place.kind, place.offset, open=key)
    called = opened if row.kind in CALLED and row.may_be_called else ""
    first = row.kind in CALLED_FIRST or (row.no_messages and not row.no_consent and row.kind in SENT_BY_HAND)
    return Shown(
        row=row,
        key=key,
        name=row.name or words.gettext("Sender not known"),
        title=words.say(row.title),
        reason=words.spoken().sentences(row.reason),
        action=words.say(row.action),
        state=words.say(STATE[row.kind]),
        target=called if called and first else _target(row, place),
        person=_person(row),
        strip=strip,
        dial=dialled(row.phone),
        called="" if first else called,
        as_event=url_for("staff.flag_event", flag_id=row.flag_id) if makes_event else "",
        place=place,
    )


def _person(row: WorkRow) -> str:
    parts = [row.study_number, str(row.age) if row.age is not None else "", words.say(row.reach)]
    return " · ".join(part for part in (parts[0], ", ".join(part for part in parts[1:] if part)) if part)


def _target(row: WorkRow, place: TodayPlace) -> str:
    """Where the row's button leads."""
    if row.kind == "withheld":
        return url_for("staff.texts", _anchor="decision")
    if row.kind == "consent_again" or (row.no_consent and row.kind in SENT_BY_HAND):
        return url_for("staff.consents", patient_id=row.patient_id)
    if row.flag_id is not None:
        return url_for("staff.flag", flag_id=row.flag_id)
    if row.envelope_id is not None:
        return url_for("staff.held_one", envelope_id=row.envelope_id)
    if row.kind in SENT_BY_HAND:
        return url_for("staff.send_now", timepoint_id=row.timepoint_id, **place.fields())
    anchor = "operations" if row.kind == "surgery_passed" else None
    return url_for("staff.patient", patient_id=row.patient_id, _anchor=anchor)
