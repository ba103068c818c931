"""The outbox: one row for each step of the ladder and channel, made by the tick, sent by the sender."""

from datetime import datetime

from sqlalchemy import ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Big, Instant, one_of, partial_index, table_args

CHANNELS = ("email", "sms", "push", "letter")
OUTCOMES = (
    "sent",
    "returned",  # sent, and came back undelivered, as somebody saw afterwards
    "no_contact",
    "no_consent",
    "messages_stopped",  # the patient asked for no more messages; staff may still call
    "already_answered",
    "window_closed",
    "passed_over",  # a later step was due as well
    "channel_failed",
    "ended",
)


class Message(Base):
    """Waiting while `done_at` is empty. A sender owns a row until `leased_until`; it may only finish under its own `lease_no`."""

    __tablename__ = "message"
    __table_args__ = table_args(
        UniqueConstraint("timepoint_id", "step", "channel"),
        one_of("channel", CHANNELS),
        one_of("outcome", OUTCOMES),
        partial_index("ix_message_waiting", "done_at", "leased_until", "id", where="done_at IS NULL"),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    timepoint_id: Mapped[int] = mapped_column(ForeignKey("timepoint.id"))
    step: Mapped[str] = mapped_column(String(20))
    # Such as "standard@1"; empty for what was made while each follow-up plan had a ladder of its own.
    ladder_version: Mapped[str | None] = mapped_column(String(40))
    channel: Mapped[str] = mapped_column(String(10))
    made_at: Mapped[datetime] = mapped_column(Instant)
    lease_no: Mapped[int] = mapped_column(default=0)
    leased_until: Mapped[datetime | None] = mapped_column(Instant)
    tries: Mapped[int] = mapped_column(default=0)
    message_id: Mapped[str | None] = mapped_column(String(120))  # stable over repeats, so that a repeat is recognisable
    last_problem: Mapped[str | None] = mapped_column(String(200))
    outcome: Mapped[str | None] = mapped_column(String(20))
    done_at: Mapped[datetime | None] = mapped_column(Instant)
