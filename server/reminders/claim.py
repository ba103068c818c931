"""A sender takes one message: a lease, a last look at whether it should still go, and all that it says.

All waiting messages of one patient that go by the same channel are taken together and become one, so that a patient with two
shoulders due hears once. They share a Message-ID from then on and are sent again together, or not at all.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy.orm import Session

from server.models import Message, Patient, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.queries.facts import status_of
from server.queries.texts_in_force import read_wording
from server.reminders.channels.contract import Notice
from server.reminders.ladder import end_ladder, is_withheld
from server.reminders.lease import MOST_TRIES, Lease, oldest, put_off, take, together
from server.reminders.notice import Due, write_notice
from server.reminders.outside import Outside, log, shortly
from server.reminders.reach import no_longer_due, not_to_be_written_to, overtaken
from server.schedule.plan import Plan
from server.schedule.status import Status
from server.store.engine import Store
from server.timepoints.plans import read_plans


@dataclass(frozen=True)
class Claim:
    """`rows`: what the notice is about. It is None when nothing was left to send; the rows are settled or put off then."""

    lease: Lease
    channel: str
    notice: Notice | None = None
    rows: tuple[int, ...] = ()


def claim_one(store: Store, outside: Outside, channels: Collection[str], *, now: datetime) -> Claim | None:
    """Takes the oldest message that waits; None when none does. One transaction, in which nothing is sent."""
    with store.writing() as session:
        first = oldest(session, channels, now)
        if first is None:
            return None
        lease = take(session, together(session, first, now), now)
        try:
            with session.begin_nested():
                due, notice = _prepare(session, outside, lease, now=now)
        except Exception as problem:
            log.error("message %s could not be prepared: %s", first.id, shortly(problem))
            put_off(session, lease, f"not prepared: {type(problem).__name__}", now=now)
            return Claim(lease, first.channel)
        return Claim(lease, first.channel, notice, due)


def _prepare(
    session: Session, outside: Outside, lease: Lease, *, now: datetime
) -> tuple[tuple[int, ...], Notice | None]:
    """Settles what should go no more and writes the rest as one notice."""
    clinic = the_clinic(session)
    today = clinic_day(clinic, now)
    rows = (_still_due(session, outside, row_id, now=now, today=today) for row_id, _ in lease.numbers)
    due = [each for each in rows if each is not None]
    ids = tuple(each.row.id for each in due)
    return ids, write_notice(session, outside, clinic, due, now=now, today=today) if due else None


def _still_due(session: Session, outside: Outside, row_id: int, *, now: datetime, today: date) -> Due | None:
    row = session.get_one(Message, row_id, populate_existing=True)
    timepoint = session.get_one(Timepoint, row.timepoint_id)
    plan = read_plans(session).find(timepoint)
    if plan is None or status_of(timepoint, today) == Status.UPCOMING or _withheld(session, outside, plan, timepoint):
        # Its window has moved, its text may not be sent, or its plan is unusable; the tick makes it again when it is due.
        session.delete(row)
        return None
    each = Due(row, timepoint, plan)
    reason = _why_not(each, session.get_one(Patient, timepoint.patient_id), today)
    if reason is None:
        return each
    row.outcome, row.done_at = reason, now
    session.flush()
    end_ladder(session, timepoint, each.plan.ladder, now=now, today=today)
    return None


def _withheld(session: Session, outside: Outside, plan: Plan, timepoint: Timepoint) -> bool:
    language = session.get_one(Patient, timepoint.patient_id).language
    return is_withheld(plan, timepoint, read_wording(session, outside.library), language)


def _why_not(each: Due, patient: Patient, today: date) -> str | None:
    days = (today - each.timepoint.invites_on).days
    if each.row.tries > MOST_TRIES:  # its senders died every time
        return "channel_failed"
    return (
        no_longer_due(each.timepoint, today)
        or not_to_be_written_to(patient, each.row.channel, today)
        or ("passed_over" if overtaken(each.row.step, each.plan.ladder, days) else None)
    )
