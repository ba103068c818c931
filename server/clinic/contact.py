"""What staff do about a patient between forms: they try to reach somebody, and they settle what an answer asked them to look at."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.fields.check import Calendar, EntryRefused, checked
from server.fields.field import Value
from server.fields.person import ATTEMPT
from server.fields.stored import stored_values
from server.models import ContactAttempt, Flag, Patient, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.queries.current import waits_for_answer
from server.queries.facts import last_day_of
from server.queries.flags import one_thing
from server.schedule.after_contact import TABLE, again_on
from server.timepoints.asked import note_reached, reaches
from server.trust.audit import audit

LONGEST_REST = timedelta(days=366)
CALLED = "Called."  # the note of a settled wish for a call, where none was written


def record_attempt(
    session: Session,
    patient: Patient,
    values: Mapping[str, Value],
    *,
    timepoint_id: int | None = None,
    now: datetime,
    by_id: int,
) -> None:
    """One try to reach the patient, in the fields of ATTEMPT; what follows from it is in server.schedule.after_contact.

    It is about one open timepoint, or without `timepoint_id` about all that are open now. Raises EntryRefused with every error.
    """
    today = clinic_day(the_clinic(session), now)
    entry = checked(ATTEMPT, values, Calendar(today))
    about = _asked_about(session, patient, timepoint_id, today)
    result, named = entry.text("result") or "", entry.day("again_on")
    if named is not None and not today < named <= today + LONGEST_REST:
        raise EntryRefused({"again_on": ["Name a day from tomorrow on and within a year, or leave it empty."]})
    back = {each.id: named or again_on(result, today, last_day_of(each)) for each in about}
    again = named or min((day for day in back.values() if day is not None), default=None)
    attempt = ContactAttempt(
        **{**stored_values(ATTEMPT, entry), "again_on": again},
        patient_id=patient.id,
        timepoint_id=timepoint_id,
        at=now,
        by_id=by_id,
    )
    session.add(attempt)
    for timepoint in about:
        timepoint.last_try, timepoint.again_on = result, back[timepoint.id]
        asks = not attempt.to_second_contact and reaches(attempt.channel, result)
        if asks and (timepoint_id is not None or timepoint.withheld_on is None):
            note_reached(timepoint, today)
    audit(session, "contact:tried", f"patient {patient.id}", now=now, by_id=by_id, result=result)
    if TABLE[result].spoke and not attempt.to_second_contact:
        settle_all(session, patient, "asked_for_call", entry.text("note") or CALLED, now=now, by_id=by_id)


def _asked_about(session: Session, patient: Patient, timepoint_id: int | None, today: date) -> Sequence[Timepoint]:
    """The timepoints that a try is about. Raises EntryRefused for one that waits for nothing."""
    waiting = select(Timepoint).where(Timepoint.patient_id == patient.id, waits_for_answer(today))
    if timepoint_id is None:
        return session.scalars(waiting).all()
    found = session.scalars(waiting.where(Timepoint.id == timepoint_id)).all()
    if not found:
        raise EntryRefused({"about": ["This form is no longer waited for. Choose another one, or all that are open."]})
    return found


def flags_settled_together(session: Session, flag: Flag) -> Sequence[Flag]:
    """The open flags that are one thing to do, as the list shows them."""
    alike = select(Flag).where(Flag.patient_id == flag.patient_id, Flag.kind == flag.kind, Flag.settled_at.is_(None))
    found, this = session.scalars(alike.order_by(Flag.id)), one_thing(flag, flag.id)
    return [each for each in found if one_thing(each, each.id) == this]


def keep_note(session: Session, flag: Flag, note: str, *, now: datetime, by_id: int) -> None:
    """Keeps what was typed so far beside an open flag, so that it is still there after a way to another page."""
    for each in flags_settled_together(session, flag):
        each.settled_note = note or None
    audit(session, "flag:note_kept", f"flag {flag.id}", now=now, by_id=by_id, kind=flag.kind)


def settle_flag(session: Session, flag: Flag, note: str, *, now: datetime, by_id: int | None) -> None:
    """Settles an open flag, and those that are one thing to do with it."""
    for each in flags_settled_together(session, flag):
        each.settled_at, each.settled_by_id, each.settled_note = now, by_id, note
        audit(session, "flag:settled", f"flag {each.id}", now=now, by_id=by_id, kind=each.kind)


def settle_all(session: Session, patient: Patient, kind: str, note: str, *, now: datetime, by_id: int | None) -> None:
    """Settles what a patient's flags of one kind asked for, once it is done elsewhere; what was noted on the way stays in front."""
    waiting = select(Flag).where(Flag.patient_id == patient.id, Flag.kind == kind, Flag.settled_at.is_(None))
    for flag in session.scalars(waiting).all():
        settle_flag(session, flag, f"{flag.settled_note}\n{note}" if flag.settled_note else note, now=now, by_id=by_id)
