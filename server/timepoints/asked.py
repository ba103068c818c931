"""Whether anybody was asked: the first day of a timepoint's window on which the patient was reached about it, or its form fetched.

Rules:

1. A message that was sent and did not come back reaches, and so does a try of staff in which somebody was spoken to, a message was left,
   or a letter posted that did not come back. A try about everything that was open is about each form that was offered that day. A talk
   with the second contact person asks that person, not the patient.
2. A sheet that was fetched shows a form only while it is offered: not while a text holds it back, nor while the form of the shoulder's
   other follow-up is sent in its place, nor before its invitation where another follow-up of the shoulder runs. Since two records
   were made one the link of the other one opens the same sheet.
3. What lies outside the window asks nobody. The day stays once it is known, unless the window moves past it.
4. A sheet that was fetched, or a try about everything that was open, before the row was made or last moved was about other forms, even if
   it lies in the window that the row has now.
5. What came before the side of the operation was put right asked about the other shoulder.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, Date, Row, Select, and_, bindparam, false, func, or_, select, true
from sqlalchemy.orm import Session

from server.models import (
    ContactAttempt,
    FieldChange,
    FollowUp,
    GateFetch,
    Link,
    Message,
    Operation,
    Patient,
    PatientMerge,
    Response,
    Shoulder,
    Timepoint,
)
from server.queries.clock import clinic_day, the_clinic
from server.queries.current import HAS_OTHER_CLOCK
from server.schedule.after_contact import TABLE

REACHED = tuple(sorted({result for result, after in TABLE.items() if after.spoke} | {"left_message"}))
AnyRow = Row[*tuple[Any, ...]]
About = Callable[[Any], ColumnElement[bool]]
Question = Select[*tuple[Any, ...]]
_COLUMNS = (
    Timepoint.id, Timepoint.opens_on, Timepoint.invites_on, Timepoint.closes_on, Timepoint.withheld_on, Timepoint.carried_by_id,
    Timepoint.placed_on,
)  # fmt: skip


def waiting_asked_days(session: Session, today: date) -> dict[int, date]:
    """For what is open, or has just closed, and of which it was not known, the day; those of whom nobody was reached are left out."""
    return _first_days(session, _OF_WAITING, {"today": today})


def _first_days(session: Session, questions: Iterable[Question], values: Mapping[str, Any]) -> dict[int, date]:
    clinic = the_clinic(session)
    found: dict[int, date] = {}
    for question in questions:
        for row in session.execute(question, values):
            on = clinic_day(clinic, row.at)
            if _asks(row, on) and on < found.get(row.id, date.max):
                found[row.id] = on
    return found


def fetched_days(session: Session, wanted: ColumnElement[bool]) -> dict[int, date]:
    """For the timepoints for which `wanted` holds, the first day of the window on which a phone fetched its form."""
    return _first_days(session, _fetches(wanted), {})


def note_asked(session: Session, rows: Sequence[Timepoint]) -> None:
    """Asks it anew about those of the rows of which it is not known."""
    unknown = [row.id for row in rows if row.asked_on is None]
    found = _first_days(session, _OF_THESE, {"ids": unknown}) if unknown else {}
    for row in rows:
        row.asked_on = row.asked_on or found.get(row.id)


def reached_outside(session: Session, ids: Sequence[int]) -> dict[int, date]:
    """By row, the last day on which the patient was reached about it outside the window that it has now: it was moved since.

    Only by what names the row: what was about everything that was open then cannot be told apart any more.
    """
    clinic, wanted = the_clinic(session), Timepoint.id.in_(ids)
    rows = (row for question in (_messages(wanted), _attempts(wanted)) for row in session.execute(question))
    found: dict[int, date] = {}
    for row in (each for each in rows if not each.if_offered):
        on = clinic_day(clinic, row.at)
        if not _asks(row, on):
            found[row.id] = max(on, found.get(row.id, on))
    return found


def asked_about_other_side(session: Session, wanted: ColumnElement[bool]) -> frozenset[int]:
    """The timepoints for which `wanted` holds whose form was sent, or answered, about the shoulder that the operation was on by mistake."""
    answered = (
        select(Timepoint.id)
        .join(Response, Response.timepoint_id == Timepoint.id)
        .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
        .join(Operation, Operation.id == FollowUp.operation_id)
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .where(wanted, Response.set_aside_at.is_not(None), Response.asked_side != Shoulder.side)
    )
    asked = _first_days(session, _questions(wanted, _about_other_shoulder), {})
    return frozenset({*asked, *session.scalars(answered)})


def note_reached(row: Timepoint, on: date) -> None:
    """The patient was reached about this row on that day."""
    if row.asked_on is None and row.opens_on <= on and (row.closes_on is None or on <= row.closes_on):
        row.asked_on = on


def reaches(channel: str, result: str) -> bool:
    """Whether such a try of staff reaches the patient, by rule 1."""
    return result in REACHED or (channel == "letter" and result != "wrong_number")


def about_this_shoulder(at: Any) -> ColumnElement[bool]:
    """Rule 5. A side that was corrected twice since is the one it was."""
    return _sides_since(at) == 0


def _about_other_shoulder(at: Any) -> ColumnElement[bool]:
    return _sides_since(at) == 1


def _sides_since(at: Any) -> ColumnElement[int]:
    """0 where the corrections of the side since lead to the same one."""
    corrected = select(func.count(FieldChange.id)).join(FollowUp, FollowUp.operation_id == FieldChange.row_id)
    of_operation = FieldChange.table_name == "operation", FieldChange.field == "side", FieldChange.at > at
    since = corrected.where(FollowUp.id == Timepoint.follow_up_id, *of_operation)
    return since.correlate_except(FieldChange, FollowUp).scalar_subquery() % 2


def _questions(wanted: ColumnElement[bool], about: About = about_this_shoulder) -> tuple[Question, ...]:
    """What may have asked these timepoints; put together once, since that takes longer than an answer."""
    return (_messages(wanted, about), _attempts(wanted, about), *_fetches(wanted, about))


def _messages(wanted: ColumnElement[bool], about: About = about_this_shoulder) -> Question:
    sent = select(*_COLUMNS, Message.done_at.label("at"), *_how(false(), false()))
    joined = sent.join(Message, Message.timepoint_id == Timepoint.id)
    return joined.where(wanted, Message.outcome == "sent", about(Message.done_at))


def _attempts(wanted: ColumnElement[bool], about: About = about_this_shoulder) -> Question:
    about_all = ContactAttempt.timepoint_id.is_(None)
    of_patient = and_(about_all, ContactAttempt.patient_id == Timepoint.patient_id)
    posted = and_(ContactAttempt.channel == "letter", ContactAttempt.result != "wrong_number")
    tried = select(*_COLUMNS, ContactAttempt.at.label("at"), *_how(about_all, false()))
    joined = tried.join(ContactAttempt, or_(ContactAttempt.timepoint_id == Timepoint.id, of_patient))
    standing = ContactAttempt.to_second_contact.is_not(True), ContactAttempt.taken_back_at.is_(None)
    reached = or_(ContactAttempt.result.in_(REACHED), posted)
    return joined.where(wanted, *standing, reached, about(ContactAttempt.at))


def _fetches(wanted: ColumnElement[bool], about: About = about_this_shoulder) -> tuple[Question, ...]:
    fetched = select(*_COLUMNS, GateFetch.fetched_at.label("at"), *_how(true(), HAS_OTHER_CLOCK))
    of_link = GateFetch.lookup_hash == Link.lookup_hash
    wanted = and_(wanted, about(GateFetch.fetched_at))
    own = fetched.join(Link, Link.patient_id == Timepoint.patient_id).join(GateFetch, of_link).where(wanted)
    of_alias = fetched.join(Patient, Patient.merged_into_id == Timepoint.patient_id).join(
        Link, Link.patient_id == Patient.id
    )
    merged = PatientMerge.alias_id == Patient.id, PatientMerge.undone_at.is_(None)
    since = of_alias.join(GateFetch, of_link).join(
        PatientMerge, and_(*merged, PatientMerge.merged_at <= GateFetch.fetched_at)
    )
    return own, since.where(wanted)


def _how(if_offered: ColumnElement[bool], from_invitation: ColumnElement[bool]) -> tuple[ColumnElement[bool], ...]:
    """Whether it asks only where the form was offered, and whether a form is offered from its invitation on only."""
    return if_offered.label("if_offered"), from_invitation.label("from_invitation")


def _asks(row: AnyRow, on: date) -> bool:
    """Rules 2 to 4."""
    if on < row.opens_on or (row.closes_on is not None and on > row.closes_on):
        return False
    if not row.if_offered:
        return True
    if row.placed_on is not None and on < row.placed_on:
        return False
    held_back = row.carried_by_id is not None or (row.withheld_on is not None and on >= row.withheld_on)
    return not held_back and not (row.from_invitation and on < row.invites_on)


_WAITING = and_(
    Timepoint.done_at.is_(None), Timepoint.opens_on <= bindparam("today", type_=Date), Timepoint.asked_on.is_(None)
)
_OF_WAITING = _questions(_WAITING)
_OF_THESE = _questions(Timepoint.id.in_(bindparam("ids", expanding=True)))
