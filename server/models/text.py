"""Texts that a clinic installed, what it decided about descriptive ones, and its sealing keys (public halves)."""

from datetime import date, datetime

from sqlalchemy import ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Instant, partial_index, table_args


class InstalledText(Base):
    """A licensed text, locked at installation; every response that used it names its id.

    `content` are the bytes of the file as UTF-8 text, `sha256` is theirs. Of one instrument version and language one text is in
    force; `replaced_at` says when a newer translation took its place.
    """

    __tablename__ = "installed_text"
    __table_args__ = table_args(
        partial_index(
            "uq_installed_text_in_force",
            *("instrument", "instrument_version", "language"),
            where="replaced_at IS NULL",
            unique=True,
        ),
    )

    text_id: Mapped[str] = mapped_column(String(80), primary_key=True)
    instrument: Mapped[str] = mapped_column(String(40))
    instrument_version: Mapped[str] = mapped_column(String(10))
    language: Mapped[str] = mapped_column(String(10))
    owner: Mapped[str] = mapped_column(String(200))
    licence_reference: Mapped[str] = mapped_column(String(200))
    translation_version: Mapped[str] = mapped_column(String(40))
    dated_on: Mapped[date]
    sha256: Mapped[bytes] = mapped_column(LargeBinary)
    content: Mapped[str]
    installed_at: Mapped[datetime] = mapped_column(Instant)
    replaced_at: Mapped[datetime | None] = mapped_column(Instant)


class TextDecision(Base):
    """A data manager's decision that a live clinic asks in these descriptive texts. Append-only; it covers no text that came later."""

    __tablename__ = "text_decision"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(primary_key=True)
    decided_at: Mapped[datetime] = mapped_column(Instant)
    by_id: Mapped[int] = mapped_column(ForeignKey("staff_account.id"))
    words: Mapped[str]
    text_ids: Mapped[str]  # comma-separated, in order
    sha256: Mapped[bytes] = mapped_column(LargeBinary)  # of text_ids


class TextWithdrawal(Base):
    """A decision that was taken back: from then on it covers no text. Append-only, one for each decision at most."""

    __tablename__ = "text_withdrawal"
    __table_args__ = table_args()

    decision_id: Mapped[int] = mapped_column(ForeignKey("text_decision.id"), primary_key=True, autoincrement=False)
    withdrawn_at: Mapped[datetime] = mapped_column(Instant)
    by_id: Mapped[int] = mapped_column(ForeignKey("staff_account.id"))
    words: Mapped[str]


class SealingKey(Base):
    """The private half lies in the key folder, never here. Retired keys open for 400 days more."""

    __tablename__ = "sealing_key"
    __table_args__ = table_args(
        partial_index("uq_sealing_key_live", "suite", where="retired_at IS NULL", unique=True),
    )

    key_id: Mapped[str] = mapped_column(String(64), primary_key=True)
    suite: Mapped[str] = mapped_column(String(20))
    point: Mapped[bytes] = mapped_column(LargeBinary)
    made_at: Mapped[datetime] = mapped_column(Instant)
    retired_at: Mapped[datetime | None] = mapped_column(Instant)
