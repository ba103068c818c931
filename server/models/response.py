"""Responses and the scores derived from them.

The answers are the record. A score names instrument version, scoring version and method, and can be rebuilt; a rebuilt one supersedes
the old row, which stays.
"""

from datetime import date, datetime

from sqlalchemy import Boolean, CheckConstraint, ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from server.fields.change import CONFIRMED_HOW
from server.fields.operation_words import SIDES
from server.models.follow_up import WINDOW_STATES
from server.store.base import Base, Big, Instant, Sealed, one_of, partial_index, table_args

MODES = ("own_phone", "clinic_tablet", "telephone", "paper", "clinic", "imported")
ANSWERED_BY = ("patient", "patient_with_help", "someone_else", "staff", "unknown")
# What was done about answers that stood in the wrong place, on what ground, and how a patient confirmed it.
MENDS = ("set_aside", "moved", "taken_back", "kept")
FOR_THE_PATIENT = "someone_else"  # tells events and that the patient lives, never pain, an acceptable state or a score
MEND_REASONS = ("wrong_side", "wrong_person", "not_usable")
MEND_GROUNDS = ("screen", "patient")
SCORE_STATUSES = ("scored", "prorated", "not_scored")


class Response(Base):
    """One answered form. Exactly one source: an envelope, or a member of staff who entered it.

    It answers a timepoint, or it was taken at a visit (`finding_id`), which no plan asks for.
    """

    __tablename__ = "response"
    __table_args__ = table_args(
        CheckConstraint("(envelope_id IS NULL) <> (entered_by_id IS NULL)", name="one_source"),
        CheckConstraint("(timepoint_id IS NULL) <> (finding_id IS NULL)", name="timepoint_or_finding"),
        one_of("mode", MODES),
        one_of("answered_by", ANSWERED_BY),
        one_of("window_state", WINDOW_STATES),
        one_of("asked_side", SIDES),
        # First received counts for a form; repeats are kept.
        partial_index("uq_response_counted", "timepoint_id", where="counted", sqlite_where="counted = 1", unique=True),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    timepoint_id: Mapped[int | None] = mapped_column(ForeignKey("timepoint.id"), index=True)
    finding_id: Mapped[int | None] = mapped_column(ForeignKey("clinic_finding.id"), index=True)
    told_on: Mapped[date | None]  # of a form of a visit: the day of the patient's part
    patient_id: Mapped[int] = mapped_column(ForeignKey("patient.id"), index=True)
    envelope_id: Mapped[int | None] = mapped_column(ForeignKey("envelope.id"), unique=True)
    entered_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    counted: Mapped[bool] = mapped_column(Boolean)
    mode: Mapped[str] = mapped_column(String(20))
    answered_by: Mapped[str] = mapped_column(String(20))
    language: Mapped[str] = mapped_column(String(10))
    opened_at: Mapped[datetime | None] = mapped_column(Instant)
    finished_at: Mapped[datetime] = mapped_column(Instant)  # clamped between fetch and receipt
    phone_finished_at: Mapped[datetime | None] = mapped_column(Instant)  # as the phone's clock had it
    received_at: Mapped[datetime] = mapped_column(Instant)
    recorded_at: Mapped[datetime] = mapped_column(Instant)
    utc_offset_minutes: Mapped[int | None]
    time_zone: Mapped[str | None] = mapped_column(String(40))
    clock_skew_ms: Mapped[int | None] = mapped_column(Big)
    window_state: Mapped[str] = mapped_column(String(12))
    # What "operated again?" was answered for this shoulder; None where it was not. Kept beside the sealed answers, since it is what
    # the last known implant status is read from.
    operated_again: Mapped[bool | None]
    build: Mapped[str | None] = mapped_column(String(60))
    device: Mapped[str | None] = mapped_column(String(200))
    answers: Mapped[bytes] = mapped_column(
        LargeBinary
    )  # JSON of the parts, sealed under the patient's key, context "response.answers"

    # The shoulder that the form named when it was answered; empty in rows older than this column.
    asked_side: Mapped[str | None] = mapped_column(String(5))
    # It stands in the wrong place and counts for nothing; the reason is in response_mend.
    set_aside_at: Mapped[datetime | None] = mapped_column(Instant)
    # The response that this was moved from, which is kept where it was. Who moved it stands as who entered it.
    moved_from_id: Mapped[int | None] = mapped_column(ForeignKey("response.id"), index=True)

    scores: Mapped[list["Score"]] = relationship(back_populates="response", order_by="Score.id")


class ResponseMend(Base):
    """Append-only: answers were set aside, moved to where they belong, or taken back. `why` and who confirmed it are sealed."""

    __tablename__ = "response_mend"
    __table_args__ = table_args(
        one_of("what", MENDS),
        one_of("reason", MEND_REASONS),
        one_of("ground", MEND_GROUNDS),
        one_of("confirmed_how", CONFIRMED_HOW),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    response_id: Mapped[int] = mapped_column(ForeignKey("response.id"), index=True)
    moved_to_id: Mapped[int | None] = mapped_column(ForeignKey("response.id"))
    what: Mapped[str] = mapped_column(String(12))
    reason: Mapped[str] = mapped_column(String(14))
    ground: Mapped[str | None] = mapped_column(String(8))
    flag_id: Mapped[int | None] = mapped_column(
        ForeignKey("flag.id")
    )  # the notice in which the screen named the true side
    confirmed_on: Mapped[date | None]
    confirmed_how: Mapped[str | None] = mapped_column(String(10))
    confirmed_by: Mapped[str | None] = mapped_column(Sealed("response_mend.confirmed_by"))
    why: Mapped[str | None] = mapped_column(Sealed("response_mend.why"))
    at: Mapped[datetime] = mapped_column(Instant)
    by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))


class Score(Base):
    __tablename__ = "score"
    __table_args__ = table_args(
        one_of("status", SCORE_STATUSES),
        partial_index(
            "uq_score_valid", "response_id", "instrument", "scale", where="superseded_at IS NULL", unique=True
        ),
        # A series reads every score of the clinic, scale by scale, from this index alone.
        partial_index(
            "ix_score_by_scale",
            *("instrument", "instrument_version", "scale", "text_id", "response_id", "value", "superseded_at"),
            where="superseded_at IS NULL",
        ),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    response_id: Mapped[int] = mapped_column(ForeignKey("response.id"), index=True)
    instrument: Mapped[str] = mapped_column(String(40))
    instrument_version: Mapped[str] = mapped_column(String(10))
    text_id: Mapped[str] = mapped_column(String(80))
    scale: Mapped[str] = mapped_column(String(40))
    value: Mapped[float | None]
    status: Mapped[str] = mapped_column(String(12))
    reason: Mapped[str | None] = mapped_column(String(300))
    answered: Mapped[int]
    items: Mapped[int]
    method: Mapped[str] = mapped_column(String(200))
    scoring_version: Mapped[str] = mapped_column(String(20))
    scored_at: Mapped[datetime] = mapped_column(Instant)
    superseded_at: Mapped[datetime | None] = mapped_column(Instant)

    response: Mapped[Response] = relationship(back_populates="scores")
