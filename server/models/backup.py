"""Copies of the clinic, proofs that one can be restored, and what was restored. All instants are the machine's, also in a demo."""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Big, Instant, one_of, table_args

KINDS_OF_COPY = ("data", "keys")
WAITING_MESSAGES = ("sent", "passed_over")


class BackupCopy(Base):
    """Append-only: a copy that was finished and read again. `sha256` is of its manifest, which names every file's."""

    __tablename__ = "backup_copy"
    __table_args__ = table_args(one_of("kind", KINDS_OF_COPY))

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    kind: Mapped[str] = mapped_column(String(4))
    backup_id: Mapped[str] = mapped_column(String(32))
    made_at: Mapped[datetime] = mapped_column(Instant)
    place: Mapped[str] = mapped_column(String(1000))
    length: Mapped[int] = mapped_column(Big)  # of all its files, in bytes
    sha256: Mapped[bytes] = mapped_column(LargeBinary)


class RestoreProof(Base):
    """Append-only: a copy was restored into a scratch folder and compared. `detail` is JSON: counts and what differed."""

    __tablename__ = "restore_proof"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    proved_at: Mapped[datetime] = mapped_column(Instant)
    backup_id: Mapped[str] = mapped_column(String(32))
    backup_made_at: Mapped[datetime] = mapped_column(Instant)
    same: Mapped[bool]
    detail: Mapped[str]


class Restoration(Base):
    """This database came out of a copy. Nothing is sent until a person releases it and says what becomes of waiting messages."""

    __tablename__ = "restoration"
    __table_args__ = table_args(
        one_of("waiting_messages", WAITING_MESSAGES),
        CheckConstraint("(released_at IS NULL) = (waiting_messages IS NULL)", name="release_is_whole"),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    restored_at: Mapped[datetime] = mapped_column(Instant)
    backup_id: Mapped[str] = mapped_column(String(32))
    backup_made_at: Mapped[datetime] = mapped_column(Instant)
    released_at: Mapped[datetime | None] = mapped_column(Instant)
    released_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    waiting_messages: Mapped[str | None] = mapped_column(String(11))  # those whose step fell into the missing span
