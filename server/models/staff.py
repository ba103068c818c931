"""Accounts, sessions and the audit trail."""

from datetime import datetime

from sqlalchemy import ForeignKey, Index, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from server.store.base import Base, Big, Instant, Sealed, one_of, table_args

ROLES = ("nurse", "surgeon", "data_manager")
# What a session is good for: showing the second factor after the password, setting one up, or everything.
SECOND_STEP, SET_UP, IN = STAGES = ("second_step", "set_up", "in")


class StaffAccount(Base):
    __tablename__ = "staff_account"
    __table_args__ = table_args(one_of("role", ROLES))

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    email: Mapped[str] = mapped_column(String(120), unique=True)  # lower case
    name: Mapped[str] = mapped_column(String(80))
    role: Mapped[str] = mapped_column(String(20))
    password_hash: Mapped[str | None] = mapped_column(String(200))  # None: invited, and no password chosen yet
    made_at: Mapped[datetime] = mapped_column(Instant)
    disabled_at: Mapped[datetime | None] = mapped_column(Instant)
    language: Mapped[str | None] = mapped_column(String(10))  # None: the clinic's own
    last_seen_at: Mapped[datetime | None] = mapped_column(
        Instant
    )  # of sessions that are forgotten; server/trust/last_seen.py


class StaffInvitation(Base):
    """A link with which a person chooses a password, once. It holds 256 random bits; here lies only their hash.

    At most one for an account: a new one takes the place of the older, and the one that was used is gone.
    """

    __tablename__ = "staff_invitation"
    __table_args__ = table_args()

    account_id: Mapped[int] = mapped_column(ForeignKey("staff_account.id"), primary_key=True)
    secret_hash: Mapped[bytes] = mapped_column(LargeBinary, unique=True)
    made_at: Mapped[datetime] = mapped_column(Instant)
    ends_at: Mapped[datetime] = mapped_column(Instant)


class StaffSession(Base):
    """The cookie holds 256 random bits; here lies only their hash.

    `challenge` and `new_secret` wait for the answer to a page, for some minutes from `asked_at`.
    """

    __tablename__ = "staff_session"
    __table_args__ = table_args(one_of("stage", STAGES))

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    secret_hash: Mapped[bytes] = mapped_column(LargeBinary, unique=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("staff_account.id"), index=True)
    form_secret: Mapped[str] = mapped_column(String(64))  # against forged posts
    stage: Mapped[str] = mapped_column(String(12))
    challenge: Mapped[bytes | None] = mapped_column(LargeBinary)  # what a passkey is to sign, once
    new_secret: Mapped[str | None] = mapped_column(Sealed("staff_session.new_secret"))  # of an app that is being set up
    asked_at: Mapped[datetime | None] = mapped_column(Instant)
    made_at: Mapped[datetime] = mapped_column(Instant)
    last_seen_at: Mapped[datetime] = mapped_column(Instant)
    expires_at: Mapped[datetime] = mapped_column(Instant)
    revoked_at: Mapped[datetime | None] = mapped_column(Instant)

    account: Mapped[StaffAccount] = relationship()


class SignInTries(Base):
    """Wrong passwords and codes in a row, by whom they were for and where they came from, each only as a hash.

    What a row counts stands in server/trust/tries.py. `succeeded_at`: this person signed in from there, with all steps.
    """

    __tablename__ = "sign_in_tries"
    __table_args__ = table_args()

    subject_hash: Mapped[bytes] = mapped_column(LargeBinary, primary_key=True)
    place_hash: Mapped[bytes] = mapped_column(LargeBinary, primary_key=True)
    failures: Mapped[int]
    last_failure_at: Mapped[datetime | None] = mapped_column(Instant)
    succeeded_at: Mapped[datetime | None] = mapped_column(Instant)


class AuditEntry(Base):
    """Append-only: who did what to which thing, when. `detail` is JSON and never holds a name or an answer."""

    __tablename__ = "audit_entry"
    # One for each filter of the audit page, each in the order of the page.
    __table_args__ = table_args(
        Index("ix_audit_entry_by_id_at", "by_id", "at"),
        Index("ix_audit_entry_action_at", "action", "at"),
        Index("ix_audit_entry_thing_at", "thing", "at"),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    at: Mapped[datetime] = mapped_column(Instant, index=True)
    by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    action: Mapped[str] = mapped_column(String(60))  # "patient:enrolled"
    thing: Mapped[str] = mapped_column(String(60))  # "patient 17"
    detail: Mapped[str | None]
