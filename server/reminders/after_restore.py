"""A restored clinic is released: from then on messages leave again, and those that may have gone already are sent or passed over.

Rules:

1. A message that waits may have gone from the lost machine when its step fell due by the day of the restore: what was sent after the
   copy was made is not in it.
2. Whoever releases says what becomes of all of those. Passed over, a step is settled as others are that a later one overtakes; the next
   step of the ladder goes on its day. So is each step that had no row yet when the clinic was released, since it was a holiday, or
   messages to the patient were paused, or the form stayed back: it may have gone from the lost machine all the same.
3. Whoever was enrolled after the restore was written to from nowhere under this record, so nothing of theirs may have gone.
4. Releasing twice is releasing once.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.models import Message, Patient, Restoration, Timepoint
from server.queries.clock import clinic_day, clinic_now, the_clinic
from server.reminders.ladders import LadderUnusable, ladder_in_force
from server.schedule.ladder import Ladder
from server.schedule.timepoint_code import TimepointCode
from server.trust.audit import audit

SENT, PASSED_OVER = "sent", "passed_over"


def may_have_gone(session: Session, restoration: Restoration) -> Sequence[Message]:
    """The waiting messages of rule 1; without a usable ladder all that wait."""
    clinic = the_clinic(session)
    restored_on = clinic_day(clinic, clinic_now(clinic, restoration.restored_at))
    waiting = select(Message, Timepoint).join(Timepoint, Timepoint.id == Message.timepoint_id)
    waiting = waiting.join(Patient, Patient.id == Timepoint.patient_id).where(
        Message.done_at.is_(None), Patient.made_at <= clinic_now(clinic, restoration.restored_at)
    )
    rows = session.execute(waiting.order_by(Message.id)).all()
    try:
        ladder = ladder_in_force(session)
    except LadderUnusable:
        return [message for message, _ in rows]
    return [
        message
        for message, timepoint in rows
        if timepoint.invites_on + timedelta(days=_day(ladder, timepoint, message)) <= restored_on
    ]


def passed_over_at(session: Session) -> datetime | None:
    """The newest restore of those released by passing over, by the clinic's clock: rule 2 holds for steps due by its day."""
    chosen = select(func.max(Restoration.restored_at)).where(Restoration.waiting_messages == PASSED_OVER)
    restored_at = session.scalar(chosen)
    return None if restored_at is None else clinic_now(the_clinic(session), restored_at)


def _day(ladder: Ladder, timepoint: Timepoint, message: Message) -> int:
    """Of a step that the ladder no longer has: as if due at once."""
    steps = ladder.steps(TimepointCode.parse(timepoint.code))
    return next((step.day for step in steps if step.step == message.step), 0)


def release(
    session: Session, restoration_id: int, waiting: str, *, now: datetime, real_now: datetime, by_id: int
) -> None:
    """`waiting`: SENT or PASSED_OVER, by rule 2. `now` is the clinic's clock, `real_now` the machine's."""
    restoration = session.get_one(Restoration, restoration_id, with_for_update=True, populate_existing=True)
    if restoration.released_at is not None:
        return
    messages = may_have_gone(session, restoration)
    for message in messages if waiting == PASSED_OVER else ():
        message.outcome, message.done_at, message.leased_until = "passed_over", now, None
    restoration.released_at, restoration.released_by_id, restoration.waiting_messages = real_now, by_id, waiting
    audit(
        session, "clinic:released", f"restoration {restoration.id}", now=now, by_id=by_id, messages=len(messages),
        waiting_messages=waiting,
    )  # fmt: skip
