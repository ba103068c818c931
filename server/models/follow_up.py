"""Follow-ups, their timepoints, and the append-only history of what happened to each.

A timepoint's status is computed from the facts in its row (server.schedule.status); it is never stored.
"""

from datetime import date, datetime

from sqlalchemy import Boolean, CheckConstraint, ForeignKey, String, UniqueConstraint, false
from sqlalchemy.orm import Mapped, mapped_column, relationship

from server.models.operation import Operation
from server.store.base import Base, Big, Instant, one_of, partial_index, table_args

END_REASONS = ("died", "withdrew", "transferred", "cancelled", "capacity_lost", "no_follow_up", "taken_back")
WINDOW_STATES = ("early", "in", "late", "off_schedule", "recalled")


class FollowUp(Base):
    __tablename__ = "follow_up"
    __table_args__ = table_args(one_of("end_reason", END_REASONS), UniqueConstraint("operation_id", "attempt"))

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    operation_id: Mapped[int] = mapped_column(ForeignKey("operation.id"))
    attempt: Mapped[int] = mapped_column(default=1)
    plan_id: Mapped[str] = mapped_column(String(40))
    plan_version: Mapped[str] = mapped_column(String(10))
    started_on: Mapped[date]  # enrolment: nothing that closed before this day was ever asked
    ended_on: Mapped[date | None]
    end_reason: Mapped[str | None] = mapped_column(String(20))
    # The day on which the next planned timepoint comes within 400 days, or since which the plan was not there to ask; empty once it has
    # no more.
    look_ahead_on: Mapped[date | None]

    operation: Mapped[Operation] = relationship(back_populates="follow_ups")
    timepoints: Mapped[list["Timepoint"]] = relationship(back_populates="follow_up", order_by="Timepoint.due_on")


class Timepoint(Base):
    """The facts: when it opens, is due and closes; when and how it was answered; why it is no longer expected."""

    __tablename__ = "timepoint"
    __table_args__ = table_args(
        UniqueConstraint("follow_up_id", "code", "attempt"),
        one_of("window_state", WINDOW_STATES),
        CheckConstraint("drawing_probability > 0 AND drawing_probability <= 1", name="drawing_probability"),
        CheckConstraint("(drawn_on IS NULL) = (drawing_probability IS NULL)", name="drawn"),
        CheckConstraint("(lot_cast_on IS NULL) = (draw_id IS NULL)", name="lot_cast"),
        CheckConstraint("drawn_on IS NULL OR lot_cast_on IS NOT NULL", name="drawn_by_lot"),
        # The worklist and the tick: a partial index must hold every column of its predicate and query.
        partial_index(
            "ix_timepoint_undone",
            *(
                "opens_on",
                "due_on",
                "closes_on",
                "anchor_on",
                "ladder_exhausted_on",
                "not_expected_on",
                "done_at",
                "withheld_on",
                "last_try",
                "again_on",
                "asked_on",
                "carried_by_id",
                "drawn_on",
            ),
            where="done_at IS NULL",
        ),
        partial_index("ix_timepoint_look_again", "look_again_on", "done_at", where="done_at IS NULL"),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    follow_up_id: Mapped[int] = mapped_column(ForeignKey("follow_up.id"))
    patient_id: Mapped[int] = mapped_column(ForeignKey("patient.id"), index=True)
    code: Mapped[str] = mapped_column(String(20))
    attempt: Mapped[int] = mapped_column(default=1)
    plan_version: Mapped[str] = mapped_column(String(10))
    form_id: Mapped[str] = mapped_column(String(36), unique=True)
    placed_on: Mapped[date | None]  # made, or moved by a corrected surgery day; None: before this was kept
    anchor_on: Mapped[date | None]
    opens_on: Mapped[date]
    invites_on: Mapped[date]
    due_on: Mapped[date]
    closes_on: Mapped[date | None]
    answered_at: Mapped[datetime | None] = mapped_column(Instant)
    answered_on: Mapped[date | None]  # the same on the clinic's calendar
    window_state: Mapped[str | None] = mapped_column(String(12))
    ladder_exhausted_on: Mapped[date | None]
    not_expected_on: Mapped[date | None]
    not_expected_reason: Mapped[str | None] = mapped_column(String(20))
    # The window had closed before the follow-up began.
    historical: Mapped[bool] = mapped_column(Boolean, default=False, server_default=false())
    # The first day of its window on which a message, a letter or a call reached the patient about it, or its form was fetched.
    asked_on: Mapped[date | None]
    # Its form stays back since that day because of these texts (ids, comma-separated).
    # Kept up while the window is open, and left as it is once it has closed.
    withheld_on: Mapped[date | None]
    withheld_texts: Mapped[str | None]
    # Where two follow-ups of a shoulder run side by side (clocks.py in server/schedule): the timepoint of the other one whose form is
    # sent in place of this one's, and the timepoint of the other one whose answer counts for this one too.
    carried_by_id: Mapped[int | None] = mapped_column(ForeignKey("timepoint.id"))
    answer_from_id: Mapped[int | None] = mapped_column(ForeignKey("timepoint.id"), index=True)
    # Of the random quarter of the silent: when and in which draw its lot was cast, and, if it was drawn, when and with which probability.
    # Those whose lot was cast and not drawn are kept too, since the drawn stand for them.
    lot_cast_on: Mapped[date | None]
    draw_id: Mapped[int | None] = mapped_column(ForeignKey("silence_draw.id"), index=True)
    drawn_on: Mapped[date | None]
    drawing_probability: Mapped[float | None]
    # What came of the last try to reach the patient about it, and the day on which it is a person's task again: after_contact.py in
    # server/schedule. Kept here too, so that the list reads one index.
    last_try: Mapped[str | None] = mapped_column(String(20))
    again_on: Mapped[date | None]
    # Of the record of a duplicate: the timepoint of the kept one that asks the same. What its form brings counts there.
    same_as_id: Mapped[int | None] = mapped_column(ForeignKey("timepoint.id"), index=True)
    done_at: Mapped[datetime | None] = mapped_column(Instant)  # answered, missed or not expected: nobody need look
    look_again_on: Mapped[date | None]

    follow_up: Mapped[FollowUp] = relationship(back_populates="timepoints")


class Transition(Base):
    """Append-only: status before and after, when, why, and who if a person did it."""

    __tablename__ = "transition"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    timepoint_id: Mapped[int] = mapped_column(ForeignKey("timepoint.id"), index=True)
    at: Mapped[datetime] = mapped_column(Instant)
    status_before: Mapped[str] = mapped_column(String(20))
    status_after: Mapped[str] = mapped_column(String(20))
    reason: Mapped[str] = mapped_column(String(60))
    by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
