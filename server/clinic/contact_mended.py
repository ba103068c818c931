"""A try that was written down in error, and a message that came back: neither asked the patient, and what had followed is set anew."""

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from server.clinic.contact import CALLED
from server.clinic.contradiction import refuse_if
from server.clinic.history import change_row
from server.models import ContactAttempt, Flag, Message, Patient, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.queries.current import mark_sheets_stale
from server.queries.facts import last_day_of
from server.schedule.after_contact import MESSAGE, TABLE, again_on
from server.timepoints.asked import note_asked, reaches
from server.timepoints.transitions import look_at
from server.trust.audit import audit

CAN_COME_BACK = ("email", "sms", "letter")  # a push message has no address


def take_back_attempt(
    session: Session, attempt: ContactAttempt, *, why: str, now: datetime, today: date, by_id: int | None
) -> None:
    """It was another patient, or never happened: it asked nobody, ended no reminder and settled no wish for a call."""
    refuse_if(attempt.taken_back_at is not None, "This was already taken back.")
    change_row(session, attempt, {"taken_back_at": now}, now=now, by_id=by_id, why=why)
    audit(session, "contact:taken_back", f"patient {attempt.patient_id}", now=now, by_id=by_id, attempt=attempt.id)
    about = _asked_about(session, attempt)
    for row in about:
        others = _other_tries(session, attempt, row)
        last = others[-1] if others else None
        if row.last_try == attempt.result and (last is None or (last.at, last.id) < (attempt.at, attempt.id)):
            row.last_try, row.again_on = (last.result, _back_on(session, last, row)) if last else (None, None)
    if not attempt.to_second_contact and reaches(attempt.channel, attempt.result):
        _ask_anew(session, about, clinic_day(the_clinic(session), attempt.at))
    settled = Flag.patient_id == attempt.patient_id, Flag.kind == "asked_for_call", Flag.settled_at == attempt.at
    for flag in session.scalars(select(Flag).where(*settled)).all():
        _open_again(session, flag, attempt.note or CALLED, now, by_id)
    _state_anew(session, attempt.patient_id, about, now, today)


def bring_back_attempt(
    session: Session, attempt: ContactAttempt, *, why: str, now: datetime, today: date, by_id: int | None
) -> None:
    """It was no error after all: what had followed from it follows again."""
    refuse_if(attempt.taken_back_at is None, "This stands; there is nothing to bring back.")
    change_row(session, attempt, {"taken_back_at": None}, now=now, by_id=by_id, why=why)
    audit(session, "contact:brought_back", f"patient {attempt.patient_id}", now=now, by_id=by_id, attempt=attempt.id)
    about, day = _asked_about(session, attempt), clinic_day(the_clinic(session), attempt.at)
    asks = not attempt.to_second_contact and reaches(attempt.channel, attempt.result)
    for row in about:
        others = _other_tries(session, attempt, row)
        later = bool(others) and (others[-1].at, others[-1].id) > (attempt.at, attempt.id)
        if not later and row.last_try != MESSAGE:
            row.last_try, row.again_on = attempt.result, _back_on(session, attempt, row)
        if asks and row.asked_on is not None and row.asked_on > day:
            row.asked_on = None
    session.flush()
    note_asked(session, about)
    if TABLE[attempt.result].spoke and not attempt.to_second_contact:
        _settle_again(session, attempt, now, by_id)
    _state_anew(session, attempt.patient_id, about, now, today)


def message_returned(
    session: Session, message: Message, patient: Patient, *, why: str, now: datetime, today: date, by_id: int | None
) -> None:
    """It was sent and came back undelivered."""
    refuse_if(message.outcome == "returned", "This was already entered.")
    refuse_if(
        message.outcome != "sent" or message.channel not in CAN_COME_BACK, "Only what was sent can have come back."
    )
    change_row(session, message, {"outcome": "returned"}, now=now, by_id=by_id, why=why)
    audit(session, "message:returned", f"message {message.id}", now=now, by_id=by_id, channel=message.channel)
    row = session.get_one(Timepoint, message.timepoint_id)
    if message.done_at is not None:
        _ask_anew(session, [row], clinic_day(the_clinic(session), message.done_at))
    arrived = select(Message.id).where(Message.timepoint_id == row.id, Message.outcome == "sent")
    if session.scalar(arrived.limit(1)) is None:
        row.ladder_exhausted_on = None
        row.last_try, row.again_on = (None, None) if row.last_try == MESSAGE else (row.last_try, row.again_on)
    _state_anew(session, patient.id, [row], now, today)


def _open_again(session: Session, flag: Flag, note: str, now: datetime, by_id: int | None) -> None:
    """As it was before it was settled with that note; what was noted on the way stood in front of it, and stays."""
    kept = (flag.settled_note or "").removesuffix(note).removesuffix("\n")
    flag.settled_at, flag.settled_by_id, flag.settled_note = None, None, kept or None
    audit(session, "flag:reopened", f"flag {flag.id}", now=now, by_id=by_id, kind=flag.kind)


def _settle_again(session: Session, attempt: ContactAttempt, now: datetime, by_id: int | None) -> None:
    """The wishes for a call that the talk had settled, with its moment, so that they open again should it be taken back once more."""
    waiting = Flag.patient_id == attempt.patient_id, Flag.kind == "asked_for_call", Flag.settled_at.is_(None)
    for flag in session.scalars(select(Flag).where(*waiting, Flag.raised_at <= attempt.at)).all():
        note = attempt.note or CALLED
        flag.settled_note = f"{flag.settled_note}\n{note}" if flag.settled_note else note
        flag.settled_at, flag.settled_by_id = attempt.at, attempt.by_id
        audit(session, "flag:settled", f"flag {flag.id}", now=now, by_id=by_id, kind=flag.kind)


def _asked_about(session: Session, attempt: ContactAttempt) -> Sequence[Timepoint]:
    """The form that the try named, or those whose windows were open on its day."""
    of_patient = select(Timepoint).where(Timepoint.patient_id == attempt.patient_id)
    if attempt.timepoint_id is not None:
        return session.scalars(of_patient.where(Timepoint.id == attempt.timepoint_id)).all()
    day = clinic_day(the_clinic(session), attempt.at)
    still_open = or_(Timepoint.closes_on.is_(None), Timepoint.closes_on >= day)
    return session.scalars(of_patient.where(Timepoint.opens_on <= day, still_open)).all()


def _back_on(session: Session, attempt: ContactAttempt, row: Timepoint) -> date | None:
    """When the row is on the list again after the try: by the table for each form, unless staff named a day, which holds for all.

    The try keeps one day only, the named one or the first of the table's; so one that is none of the table's was named.
    """
    day = clinic_day(the_clinic(session), attempt.at)
    by_table = {each.id: again_on(attempt.result, day, last_day_of(each)) for each in _asked_about(session, attempt)}
    named = attempt.again_on not in by_table.values()
    return attempt.again_on if named else by_table.get(row.id, attempt.again_on)


def _other_tries(session: Session, attempt: ContactAttempt, row: Timepoint) -> list[ContactAttempt]:
    """The others that stand about the row, the first first."""
    about = or_(ContactAttempt.timepoint_id == row.id, ContactAttempt.timepoint_id.is_(None))
    others = ContactAttempt.patient_id == attempt.patient_id, ContactAttempt.id != attempt.id
    standing = select(ContactAttempt).where(*others, about, ContactAttempt.taken_back_at.is_(None))
    clinic = the_clinic(session)
    found = session.scalars(standing.order_by(ContactAttempt.at, ContactAttempt.id)).all()
    return [each for each in found if each.timepoint_id or row.opens_on <= clinic_day(clinic, each.at)]


def _ask_anew(session: Session, rows: Sequence[Timepoint], day: date) -> None:
    """Of those that were first asked on that day, whether anything else asked."""
    asked_then = [row for row in rows if row.asked_on == day]
    for row in asked_then:
        row.asked_on = None
    session.flush()
    note_asked(session, asked_then)


def _state_anew(session: Session, patient_id: int, rows: Sequence[Timepoint], now: datetime, today: date) -> None:
    session.flush()
    for row in rows:
        row.done_at = None
    look_at(session, rows, now=now, today=today)
    mark_sheets_stale(session, {patient_id})
