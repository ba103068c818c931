"""What a member of staff shows beside the password: passkeys, authenticator apps, and printed codes for when both are lost."""

from datetime import datetime

from sqlalchemy import ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Big, Instant, Sealed, table_args


class StaffPasskey(Base):
    """The public half of a key pair; the device keeps the other. `sign_count` is the device's own, to notice a copy."""

    __tablename__ = "staff_passkey"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("staff_account.id"), index=True)
    name: Mapped[str] = mapped_column(String(60))
    credential_id: Mapped[bytes] = mapped_column(LargeBinary, unique=True)
    public_key: Mapped[bytes] = mapped_column(LargeBinary)
    sign_count: Mapped[int] = mapped_column(Big)
    made_at: Mapped[datetime] = mapped_column(Instant)
    last_used_at: Mapped[datetime | None] = mapped_column(Instant)


class StaffAuthenticatorApp(Base):
    """An app that shows a new code every 30 seconds (TOTP, RFC 6238). `last_step` is the newest one used: no code is taken twice."""

    __tablename__ = "staff_authenticator_app"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("staff_account.id"), index=True)
    name: Mapped[str] = mapped_column(String(60))
    secret: Mapped[str] = mapped_column(Sealed("staff_authenticator_app.secret"))
    last_step: Mapped[int] = mapped_column(Big)
    made_at: Mapped[datetime] = mapped_column(Instant)
    last_used_at: Mapped[datetime | None] = mapped_column(Instant)


class StaffRecoveryCode(Base):
    """A code of 125 random bits, good once; only its hash lies here, which nobody can guess back."""

    __tablename__ = "staff_recovery_code"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("staff_account.id"), index=True)
    code_hash: Mapped[bytes] = mapped_column(LargeBinary, unique=True)
    made_at: Mapped[datetime] = mapped_column(Instant)
    confirmed_at: Mapped[datetime | None] = mapped_column(Instant)  # when the person said that the codes arrived
    used_at: Mapped[datetime | None] = mapped_column(Instant)
