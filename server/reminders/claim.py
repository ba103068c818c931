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
from server.queries.pause import pause_of
from server.queries.texts_in_force import read_wording
from server.reminders.by_hand import bring_back
from server.reminders.channels.contract import Notice
from server.reminders.contact_block import reason_no_longer_due, reason_not_to_contact
from server.reminders.due_messages import end_ladder, is_withheld
from server.reminders.failures import kind_and_place, log
from server.reminders.ladders import LadderUnusable, ladder_named, name_in_force
from server.reminders.lease import MOST_TRIES, Lease, oldest, put_off, take, together
from server.reminders.link_service import LinkService
from server.reminders.notice import Due, write_notice
from server.schedule.after_contact import ENDING
from server.schedule.ladder import Ladder, is_overtaken
from server.schedule.plan import Plan
from server.schedule.status import Status
from server.schedule.timepoint_code import TimepointCode
from server.store.engine import Store
from server.timepoints.plans import read_plans


@dataclass(frozen=True)
class Claim:
    """`rows`: what the notice is about. It is None when nothing was left to send; the rows are settled or put off then."""

    lease: Lease
    channel: str
    notice: Notice | None = None
    rows: tuple[int, ...] = ()


def claim_one(store: Store, link_service: LinkService, channels: Collection[str], *, now: datetime) -> Claim | None:
    """Takes the oldest message that waits; None when none does. One transaction, in which nothing is sent."""
    with store.writing() as session:
        first = oldest(session, channels, now)
        if first is None:
            return None
        lease = take(session, together(session, first, now), now)
        try:
            with session.begin_nested():
                due, notice = _prepare(session, link_service, lease, now=now)
        except Exception as problem:
            log.error("message %s could not be prepared: %s", first.id, kind_and_place(problem))
            put_off(session, lease, f"not prepared: {type(problem).__name__}", now=now)
            return Claim(lease, first.channel)
        return Claim(lease, first.channel, notice, due)


def _prepare(
    session: Session, link_service: LinkService, lease: Lease, *, now: datetime
) -> tuple[tuple[int, ...], Notice | None]:
    """Settles what should go no more and writes the rest as one notice."""
    clinic = the_clinic(session)
    today = clinic_day(clinic, now)
    rows = (_still_due(session, link_service, row_id, now=now, today=today) for row_id, _ in lease.numbers)
    due = [each for each in rows if each is not None]
    if not due:
        return (), None
    patient = session.get_one(Patient, due[0].timepoint.patient_id)
    url = link_service.open_link(session, patient, clinic.base_url, now=now, today=today)
    return tuple(each.row.id for each in due), write_notice(session, clinic, due, url, now=now, today=today)


def _still_due(session: Session, link_service: LinkService, row_id: int, *, now: datetime, today: date) -> Due | None:
    row = session.get_one(Message, row_id, populate_existing=True)
    timepoint = session.get_one(Timepoint, row.timepoint_id)
    plan, ladder = read_plans(session).find(timepoint), _ladder_of(session, row)
    stays_back = plan is None or ladder is None or _stays_back(session, link_service, plan, timepoint)
    if plan is None or ladder is None or stays_back or status_of(timepoint, today) == Status.UPCOMING:
        # Its window has moved, its text may not be sent, another form is sent in its place, its patient does not want it or said something
        # that pauses messages, or its plan or ladder is unusable; the tick makes it again when it is due.
        session.delete(row)
        return None
    each = Due(row, timepoint, plan, ladder.steps(TimepointCode.parse(timepoint.code)))
    reason = _why_not(each, session.get_one(Patient, timepoint.patient_id), today)
    if reason is None:
        return each
    row.outcome, row.done_at = reason, now
    bring_back(timepoint)
    session.flush()
    end_ladder(session, timepoint, now=now, today=today)
    return None


def _stays_back(session: Session, link_service: LinkService, plan: Plan, timepoint: Timepoint) -> bool:
    if (
        timepoint.carried_by_id is not None
        or timepoint.last_try in ENDING
        or pause_of(session, timepoint.patient_id) is not None
    ):
        return True
    language = session.get_one(Patient, timepoint.patient_id).language
    return is_withheld(plan, timepoint, read_wording(session, link_service.library), language)


def _why_not(each: Due, patient: Patient, today: date) -> str | None:
    if each.row.tries > MOST_TRIES:  # its senders died every time
        return "channel_failed"
    overtaken = is_overtaken(each.row.step, each.steps, invites_on=each.timepoint.invites_on, today=today)
    return (
        reason_no_longer_due(each.timepoint, today)
        or reason_not_to_contact(patient, each.row.channel, today)
        or ("passed_over" if overtaken else None)
    )


def _ladder_of(session: Session, row: Message) -> Ladder | None:
    """The version that the row was made under; None while that is unusable."""
    try:
        return ladder_named(session, row.ladder_version or name_in_force(session))
    except LadderUnusable as problem:
        log.error("message %s is not sent: %s", row.id, problem)
        return None
