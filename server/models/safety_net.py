"""Who is told that a safety answer waits on Today, who was first shown one there, and what went out about it."""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Big, Instant, one_of, partial_index, table_args

# `seen`: somebody was shown it, or it was settled, before the mail went; `nobody`: the account may no longer be written to.
NOTICE_OUTCOMES = ("sent", "seen", "nobody", "failed")


class SafetyNet(Base):
    """One row of settings, made when they are first saved (`server/fields/safety_net.py`)."""

    __tablename__ = "safety_net"
    __table_args__ = table_args(CheckConstraint("id = 1", name="only_one"))

    id: Mapped[int] = mapped_column(primary_key=True)
    reader_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    deputy_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    first_hours: Mapped[int]
    second_hours: Mapped[int]
    weekdays: Mapped[str] = mapped_column(String(13))  # ISO numbers with commas between, Monday is 1
    begins_hour: Mapped[int]
    ends_hour: Mapped[int]


class SafetyLook(Base):
    """Today showed this safety answer to somebody for the first time. A row for each flag, never changed."""

    __tablename__ = "safety_look"
    __table_args__ = table_args()

    flag_id: Mapped[int] = mapped_column(ForeignKey("flag.id"), primary_key=True, autoincrement=False)
    at: Mapped[datetime] = mapped_column(Instant)
    by_id: Mapped[int] = mapped_column(ForeignKey("staff_account.id"))


class SafetyNotice(Base):
    """One mail to one person at one step about the answer that waits longest. Leased and finished as a message to a patient is."""

    __tablename__ = "safety_notice"
    __table_args__ = table_args(
        UniqueConstraint("flag_id", "step", "account_id"),
        one_of("outcome", NOTICE_OUTCOMES),
        partial_index("ix_safety_notice_waiting", "done_at", "leased_until", "id", where="done_at IS NULL"),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    flag_id: Mapped[int] = mapped_column(ForeignKey("flag.id"))
    step: Mapped[int]  # 1 the first, 2 the second, then one for each further working day
    account_id: Mapped[int] = mapped_column(ForeignKey("staff_account.id"))
    made_at: Mapped[datetime] = mapped_column(Instant)
    lease_no: Mapped[int] = mapped_column(default=0)
    leased_until: Mapped[datetime | None] = mapped_column(Instant)
    tries: Mapped[int] = mapped_column(default=0)
    message_id: Mapped[str] = mapped_column(String(120))
    last_problem: Mapped[str | None] = mapped_column(String(200))
    outcome: Mapped[str | None] = mapped_column(String(10))
    done_at: Mapped[datetime | None] = mapped_column(Instant)
