"""Leases on messages: who may work on a row, until when, and under which number it may be finished.

A sender owns its rows until `leased_until`. If it dies, the lease runs out and another takes the rows under the next number; what the
first still does then changes nothing, because it may only finish under its own number.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import BindParameter, ColumnElement, String, bindparam, or_, select, update
from sqlalchemy.orm import Session

from server.models import Message, Patient, Timepoint
from server.queries.clock import clinic_day, the_clinic
from server.reminders.by_hand import bring_back
from server.reminders.due_messages import end_ladder
from server.store.base import Instant
from server.timepoints.asked import note_reached

LEASE = timedelta(minutes=10)  # longer than any attempt: a mail server gets 30 s for each of about eight answers
# Waiting before the next try. A mail server should be tried for four to five days (RFC 5321, 4.5.4.1).
WAITS = tuple(timedelta(minutes=minutes) for minutes in (1, 5, 15, 60, 360, 1440, 1440, 1440, 1440))
MOST_TRIES = len(WAITS) + 1


@dataclass(frozen=True)
class Lease:
    """The rows that one sender holds, each with the lease number it may finish under."""

    numbers: tuple[tuple[int, int], ...]
    tries: int


@dataclass(frozen=True)
class First:
    """The row that waits longest, its patient, its channel, and the Message-ID under which it was tried before."""

    id: int
    patient_id: int
    channel: str
    message_id: str | None


def _waiting(now: datetime | BindParameter[datetime]) -> ColumnElement[bool]:
    return Message.done_at.is_(None) & or_(Message.leased_until.is_(None), Message.leased_until <= now)


# All of these are asked for every message, and so put together once.
_NOW: BindParameter[datetime] = bindparam("now", type_=Instant)
# On PostgreSQL the patient is locked: another sender must not take the other shoulder's message meanwhile.
_OLDEST = (
    select(Message.id, Timepoint.patient_id, Message.channel, Message.message_id)
    .join(Timepoint, Message.timepoint_id == Timepoint.id)
    .join(Patient, Timepoint.patient_id == Patient.id)
    .where(_waiting(_NOW), Message.channel.in_(bindparam("channels", expanding=True)))
    .order_by(Message.id)
    .limit(1)
    .with_for_update(of=Patient, skip_locked=True, key_share=True)
)
_TOGETHER = (
    select(Message.id)
    .join(Timepoint, Message.timepoint_id == Timepoint.id)
    .where(
        _waiting(_NOW),
        Timepoint.patient_id == bindparam("patient"),
        Message.channel == bindparam("by_channel"),
        Message.message_id.is_not_distinct_from(bindparam("sent_under", type_=String)),
    )
    .order_by(Message.id)
)
_TAKE = (
    update(Message)
    .where(Message.id.in_(bindparam("rows", expanding=True)), _waiting(_NOW))
    .values(lease_no=Message.lease_no + 1, leased_until=bindparam("until", type_=Instant), tries=Message.tries + 1)
    .returning(Message.id, Message.lease_no, Message.tries)
    .execution_options(synchronize_session=False)
)
_FINISH = (
    update(Message)
    .where(Message.id == bindparam("row"), Message.lease_no == bindparam("number"), Message.done_at.is_(None))
    .values(outcome=bindparam("became"), done_at=_NOW, last_problem=bindparam("problem"))
    .returning(Message.timepoint_id)
    .execution_options(synchronize_session=False)
)
_LOCKED = (
    select(Timepoint)
    .where(Timepoint.id == bindparam("timepoint"))
    .with_for_update()
    .execution_options(populate_existing=True)
)


def oldest(session: Session, channels: Collection[str], now: datetime) -> First | None:
    """Of what waits to go by these channels."""
    found = session.execute(_OLDEST, {"channels": list(channels), "now": now}).one_or_none()
    return None if found is None else First(*found)


def together(session: Session, first: First, now: datetime) -> Sequence[int]:
    """Rows that were sent together before are sent together again; new ones never join them under the old Message-ID."""
    of_first = {"patient": first.patient_id, "by_channel": first.channel, "sent_under": first.message_id}
    return session.scalars(_TOGETHER, {"now": now, **of_first}).all()


def take(session: Session, ids: Sequence[int], now: datetime) -> Lease:
    """Empty when another sender was quicker between the look and this: the condition is asked again here."""
    taken = session.execute(_TAKE, {"rows": ids, "now": now, "until": now + LEASE}).all()
    numbers = tuple(sorted((row_id, lease_no) for row_id, lease_no, _ in taken))
    return Lease(numbers, max((tries for *_, tries in taken), default=0))


def put_off(session: Session, lease: Lease, summary: str, *, now: datetime) -> None:
    """Tries again later, a little later each time; after the last try the step is let go as `channel_failed`."""
    if lease.tries >= MOST_TRIES:
        finish(session, lease, "channel_failed", now=now, summary=summary)
        return
    until = now + WAITS[max(lease.tries, 1) - 1]
    for row_id, lease_no in lease.numbers:
        held = (Message.id == row_id, Message.lease_no == lease_no, Message.done_at.is_(None))
        session.execute(update(Message).where(*held).values(leased_until=until, last_problem=summary[:200]))


def finish(session: Session, lease: Lease, outcome: str, *, now: datetime, summary: str | None = None) -> int:
    """Settles the rows that are still held under their lease number; returns how many. A stale lease changes nothing."""
    finished = 0
    today = clinic_day(the_clinic(session), now)
    became = {"became": outcome, "now": now, "problem": summary[:200] if summary else None}
    for row_id, lease_no in lease.numbers:
        timepoint_id = session.scalar(_FINISH, {"row": row_id, "number": lease_no, **became})
        if timepoint_id is None:
            continue
        finished += 1
        timepoint = session.scalars(_LOCKED, {"timepoint": timepoint_id}).one()
        if outcome == "sent":
            note_reached(timepoint, today)
        else:
            bring_back(timepoint)
        end_ladder(session, timepoint, now=now, today=today)
    return finished
