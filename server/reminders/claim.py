"""A sender takes one message: a lease, a last look at whether it should still go, and all that it says.

All waiting messages of one patient that go by the same channel are taken together and become one, so that a patient with two
shoulders due hears once. They share a Message-ID from then on and are sent again together, or not at all.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, contains_eager, selectinload

from server.models import FollowUp, Message, Operation, Patient, Shoulder, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.queries.facts import status_of
from server.queries.pause import pause_of
from server.queries.texts_in_force import Wording, read_wording
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
from server.timepoints.plans import Plans, read_plans

_LEASED = (
    select(Message, Timepoint, Patient)
    .join(Timepoint, Timepoint.id == Message.timepoint_id)
    .join(Patient, Patient.id == Timepoint.patient_id)
    .join(FollowUp, FollowUp.id == Timepoint.follow_up_id)
    .join(Operation, Operation.id == FollowUp.operation_id)
    .join(Shoulder, Shoulder.id == Operation.shoulder_id)
    .where(Message.id.in_(bindparam("rows", expanding=True)))
    .order_by(Message.id)
    .options(
        contains_eager(Timepoint.follow_up).contains_eager(FollowUp.operation).contains_eager(Operation.shoulder),
        selectinload(Patient.consents),
    )
    .execution_options(populate_existing=True)
)


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


@dataclass(frozen=True)
class _Look:
    """What decides about all rows of one claim, which are about one patient."""

    patient: Patient
    plans: Plans
    wording: Wording
    paused: bool
    now: datetime
    today: date


def _prepare(
    session: Session, link_service: LinkService, lease: Lease, *, now: datetime
) -> tuple[tuple[int, ...], Notice | None]:
    """Settles what should go no more and writes the rest as one notice."""
    clinic = the_clinic(session)
    today = clinic_day(clinic, now)
    found = session.execute(_LEASED, {"rows": [row_id for row_id, _ in lease.numbers]}).all()
    if not found:
        return (), None
    patient = found[0].Patient
    wording, paused = read_wording(session, link_service.library), pause_of(session, patient.id) is not None
    look = _Look(patient, read_plans(session), wording, paused, now, today)
    rows = (_still_due(session, row, timepoint, look) for row, timepoint, _ in found)
    due = [each for each in rows if each is not None]
    if not due:
        return (), None
    url = link_service.open_link(session, patient, clinic.base_url, now=now, today=today)
    return tuple(each.row.id for each in due), write_notice(clinic, patient, due, url, now=now, today=today)


def _still_due(session: Session, row: Message, timepoint: Timepoint, look: _Look) -> Due | None:
    plan, ladder = look.plans.find(timepoint), _ladder_of(session, row)
    stays_back = plan is None or ladder is None or _stays_back(look, plan, timepoint)
    if plan is None or ladder is None or stays_back or status_of(timepoint, look.today) == Status.UPCOMING:
        # Its window has moved, its text may not be sent, another form is sent in its place, its patient does not want it or said something
        # that pauses messages, or its plan or ladder is unusable; the tick makes it again when it is due.
        session.delete(row)
        return None
    each = Due(row, timepoint, plan, ladder.steps(TimepointCode.parse(timepoint.code)))
    reason = _why_not(each, look.patient, look.today)
    if reason is None:
        return each
    row.outcome, row.done_at = reason, look.now
    bring_back(timepoint)
    session.flush()
    end_ladder(session, timepoint, now=look.now, today=look.today)
    return None


def _stays_back(look: _Look, plan: Plan, timepoint: Timepoint) -> bool:
    if look.paused or timepoint.carried_by_id is not None or timepoint.last_try in ENDING:
        return True
    return is_withheld(plan, timepoint, look.wording, look.patient.language)


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
