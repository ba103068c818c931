"""Responses and the scores derived from them.

The answers are the record. A score names instrument version, scoring version and method, and can be rebuilt; a rebuilt one supersedes
the old row, which stays.
"""

from datetime import datetime

from sqlalchemy import Boolean, CheckConstraint, ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from server.models.follow_up import WINDOW_STATES
from server.store.base import Base, Big, Instant, one_of, partial_index, table_args

MODES = ("own_phone", "clinic_tablet", "telephone", "paper", "clinic", "imported")
ANSWERED_BY = ("patient", "patient_with_help", "someone_else", "staff", "unknown")
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
        # First received counts for a form; repeats are kept.
        partial_index("uq_response_counted", "timepoint_id", where="counted", sqlite_where="counted = 1", unique=True),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    timepoint_id: Mapped[int | None] = mapped_column(ForeignKey("timepoint.id"), index=True)
    finding_id: Mapped[int | None] = mapped_column(ForeignKey("clinic_finding.id"), index=True)
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

    scores: Mapped[list["Score"]] = relationship(back_populates="response", order_by="Score.id")


class Score(Base):
    __tablename__ = "score"
    __table_args__ = table_args(
        one_of("status", SCORE_STATUSES),
        partial_index(
            "uq_score_valid", "response_id", "instrument", "scale", where="superseded_at IS NULL", unique=True
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
