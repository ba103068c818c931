"""Envelopes as received. Bytes never change; once opened they lie under the patient's own key."""

from datetime import datetime

from sqlalchemy import Boolean, LargeBinary, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from server.models.contact import NOTICE_KINDS
from server.store.base import Base, Big, Instant, one_of, partial_index, table_args

ENVELOPE_STATES = ("received", "recorded", "held", "settled")


class Envelope(Base):
    """`state`: received (intake has not looked), recorded (became a response), held (a person must look), settled (a person did)."""

    __tablename__ = "envelope"
    __table_args__ = table_args(
        one_of("state", ENVELOPE_STATES),
        one_of("held_notice", NOTICE_KINDS),
        UniqueConstraint("envelope_id", "sha256"),
        partial_index("ix_envelope_waiting", "state", "id", where="state IN ('received', 'held')"),
        # What is held is looked through by link, reason and what it says.
        partial_index(
            "ix_envelope_held", "lookup_hash", "held_reason", "held_notice", "id", "state", where="state = 'held'"
        ),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    envelope_id: Mapped[str] = mapped_column(String(36))
    sha256: Mapped[bytes] = mapped_column(LargeBinary)
    lookup_hash: Mapped[bytes] = mapped_column(LargeBinary, index=True)
    key_id: Mapped[str] = mapped_column(String(64))
    received_at: Mapped[datetime] = mapped_column(Instant)
    same_id_other_content: Mapped[bool] = mapped_column(Boolean, default=False)
    body: Mapped[bytes] = mapped_column(
        LargeBinary
    )  # the text as sent; after recording, sealed under the patient's key
    body_wrapped: Mapped[bool] = mapped_column(Boolean, default=False)
    state: Mapped[str] = mapped_column(String(10))
    held_reason: Mapped[str | None] = mapped_column(String(40))
    held_detail: Mapped[str | None]
    # Of a held one: the form it is about, where that could be read.
    held_form_id: Mapped[str | None] = mapped_column(String(36))
    # Of a held notice that could be read: the kind of the flag that it would raise.
    held_notice: Mapped[str | None] = mapped_column(String(20))
    # A person accepted what a replaced link sent after its replacement.
    accepted_at: Mapped[datetime | None] = mapped_column(Instant)
    settled_at: Mapped[datetime | None] = mapped_column(Instant)
