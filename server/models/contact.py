"""What staff did to reach a patient, and what waits for a person to look."""

from datetime import date, datetime

from sqlalchemy import ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from server.fields.person import ATTEMPT_RESULTS
from server.store.base import Base, Big, Instant, Sealed, one_of, partial_index, table_args

# What a patient said beside the answers of a form (server/sync/PROTOCOL.md, section 4).
NOTICE_KINDS = (
    "said_wrong_side",
    "said_wrong_date",
    "said_wrong_person",
    "said_died",
    "asked_to_stop",
    "asked_for_call",
)
FLAG_KINDS = (
    "safety_answer",
    "contact_change",
    "operated_elsewhere",
    "event_reported",
    "lost_proposal",
    "consent_again",
    "event_left_behind",  # it was confirmed, and the answers in which it was said count no longer, or are another shoulder's
    "clock_wrong",
    "erased",
    *NOTICE_KINDS,
)


class ContactAttempt(Base):
    """One try. `timepoint_id` None: about all that was open then. `again_on`: when the row was to be back on the list."""

    __tablename__ = "contact_attempt"
    __table_args__ = table_args(one_of("result", ATTEMPT_RESULTS))

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    patient_id: Mapped[int] = mapped_column(ForeignKey("patient.id"), index=True)
    timepoint_id: Mapped[int | None] = mapped_column(ForeignKey("timepoint.id"))
    at: Mapped[datetime] = mapped_column(Instant)
    by_id: Mapped[int] = mapped_column(ForeignKey("staff_account.id"))
    channel: Mapped[str] = mapped_column(String(10))
    result: Mapped[str] = mapped_column(String(20))
    again_on: Mapped[date | None]
    to_second_contact: Mapped[bool | None]  # whether it went to the second contact person, who is not the patient
    note: Mapped[str | None] = mapped_column(Sealed("contact_attempt.note"))
    taken_back_at: Mapped[datetime | None] = mapped_column(
        Instant
    )  # written down in error, such as for another patient


class Flag(Base):
    """Helps staff to look; decides nothing. `detail` may hold what a patient typed, so it is sealed.

    Raised by a response, or by the envelope of a notice; `true_side` is the side that a patient named in place of a wrong one.
    """

    __tablename__ = "flag"
    __table_args__ = table_args(
        one_of("kind", FLAG_KINDS),
        one_of("true_side", ("left", "right")),
        UniqueConstraint("response_id", "kind", "item"),
        partial_index("ix_flag_open", "settled_at", "raised_at", where="settled_at IS NULL"),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    kind: Mapped[str] = mapped_column(String(20))
    patient_id: Mapped[int] = mapped_column(ForeignKey("patient.id"), index=True)
    timepoint_id: Mapped[int | None] = mapped_column(ForeignKey("timepoint.id"))
    response_id: Mapped[int | None] = mapped_column(ForeignKey("response.id"))
    envelope_id: Mapped[int | None] = mapped_column(ForeignKey("envelope.id"), unique=True)
    item: Mapped[str | None] = mapped_column(String(40))  # "early@1/2"
    true_side: Mapped[str | None] = mapped_column(String(5))
    detail: Mapped[str | None] = mapped_column(Sealed("flag.detail"))
    raised_at: Mapped[datetime] = mapped_column(Instant)
    settled_at: Mapped[datetime | None] = mapped_column(Instant)
    settled_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    settled_note: Mapped[str | None] = mapped_column(Sealed("flag.settled_note"))
