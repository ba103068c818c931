"""Shoulders and the operations on them, in order; and the log of the operations of people not enrolled."""

from datetime import date, datetime
from typing import TYPE_CHECKING

from sqlalchemy import CheckConstraint, ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from server.fields.event import PRECISIONS
from server.fields.field import CERTAINTIES
from server.fields.log import NOT_ENROLLED
from server.fields.operation_words import (
    ASA_CLASSES,
    CUFF_STATES,
    DIAGNOSES,
    DOMINANT,
    IMPLANT_TYPES,
    KNOWN_BY,
    OPERATION_KINDS,
    PLACES,
    PROCEDURE_WORDS,
    REASONS,
    SIDES,
    STAGES,
)
from server.store.base import Base, Big, Instant, one_of, table_args

if TYPE_CHECKING:
    from server.models.component import Component
    from server.models.follow_up import FollowUp


class Shoulder(Base):
    __tablename__ = "shoulder"
    __table_args__ = table_args(
        one_of("side", SIDES), one_of("dominant", DOMINANT), UniqueConstraint("patient_id", "side")
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    patient_id: Mapped[int] = mapped_column(ForeignKey("patient.id"))
    side: Mapped[str] = mapped_column(String(5))
    dominant: Mapped[str | None] = mapped_column(String(7))

    # Those that stand. One that was entered in error counts nowhere; `every_operation` has it too, for the page that brings it back.
    operations: Mapped[list["Operation"]] = relationship(
        back_populates="shoulder",
        primaryjoin="and_(Shoulder.id == Operation.shoulder_id, Operation.taken_back_at.is_(None))",
        order_by="Operation.position",
    )
    every_operation: Mapped[list["Operation"]] = relationship(viewonly=True, order_by="Operation.position")


class Operation(Base):
    """`surgery_planned_on` may be empty and may move; `surgery_on` is set once it is done and may lie decades back.

    `position` counts the operations of a shoulder in the order of entry; one of decades ago may be entered last.
    """

    __tablename__ = "operation"
    __table_args__ = table_args(
        one_of("kind", OPERATION_KINDS),
        one_of("implant_type", IMPLANT_TYPES),
        one_of("diagnosis", DIAGNOSES),
        one_of("procedure", PROCEDURE_WORDS),
        one_of("stage", STAGES),
        one_of("reason", REASONS),
        one_of("place", PLACES),
        one_of("known_by", KNOWN_BY),
        one_of("certainty", CERTAINTIES),
        one_of("surgery_precision", PRECISIONS),
        one_of("asa", ASA_CLASSES),
        *(
            one_of(f"cuff_{tendon}", CUFF_STATES)
            for tendon in ("supraspinatus", "infraspinatus", "subscapularis", "teres_minor")
        ),
        UniqueConstraint("shoulder_id", "position"),
        CheckConstraint("surgery_on IS NULL OR cancelled_on IS NULL", name="done_or_cancelled"),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    shoulder_id: Mapped[int] = mapped_column(ForeignKey("shoulder.id"))
    position: Mapped[int]  # 1, 2, … on this shoulder
    kind: Mapped[str] = mapped_column(String(20))
    stage: Mapped[str | None] = mapped_column(String(20))
    first_stage_id: Mapped[int | None] = mapped_column(
        ForeignKey("operation.id")
    )  # of a second stage: what it completes
    surgery_planned_on: Mapped[date | None]
    surgery_on: Mapped[date | None] = mapped_column(index=True)
    surgery_precision: Mapped[str | None] = mapped_column(String(5))
    cancelled_on: Mapped[date | None]
    cancelled_reason: Mapped[str | None] = mapped_column(String(200))
    place: Mapped[str | None] = mapped_column(String(20))
    place_name: Mapped[str | None] = mapped_column(String(120))
    known_by: Mapped[str | None] = mapped_column(String(20))
    known_by_other: Mapped[str | None] = mapped_column(String(120))
    certainty: Mapped[str | None] = mapped_column(String(20))
    reason: Mapped[str | None] = mapped_column(String(40))
    reason_other: Mapped[str | None] = mapped_column(String(120))
    further_reasons: Mapped[str | None] = mapped_column(String(400))
    further_reasons_other: Mapped[str | None] = mapped_column(String(120))
    diagnosis: Mapped[str | None] = mapped_column(String(40))
    diagnosis_other: Mapped[str | None] = mapped_column(String(120))
    diagnosis_stage: Mapped[str | None] = mapped_column(String(40))
    earlier_surgery: Mapped[str | None] = mapped_column(String(200))
    bmi: Mapped[float | None]
    asa: Mapped[str | None] = mapped_column(String(7))
    smoking: Mapped[str | None] = mapped_column(String(20))
    cuff_supraspinatus: Mapped[str | None] = mapped_column(String(20))
    cuff_infraspinatus: Mapped[str | None] = mapped_column(String(20))
    cuff_subscapularis: Mapped[str | None] = mapped_column(String(20))
    cuff_teres_minor: Mapped[str | None] = mapped_column(String(20))
    glenoid_type: Mapped[str | None] = mapped_column(String(20))
    glenoid_wear: Mapped[str | None] = mapped_column(String(40))
    glenoid_treatment: Mapped[str | None] = mapped_column(String(40))
    subscapularis_handling: Mapped[str | None] = mapped_column(String(40))
    procedure: Mapped[str | None] = mapped_column(String(40))
    procedure_other: Mapped[str | None] = mapped_column(String(120))
    implant_type: Mapped[str | None] = mapped_column(String(40))
    implant_other: Mapped[str | None] = mapped_column(String(120))
    fixation: Mapped[str | None] = mapped_column(String(40))
    surgeon: Mapped[str | None] = mapped_column(String(80))
    taken_back_at: Mapped[datetime | None] = mapped_column(
        Instant
    )  # entered in error; the reason stands in the history
    made_at: Mapped[datetime] = mapped_column(Instant)
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))

    shoulder: Mapped[Shoulder] = relationship(back_populates="operations", foreign_keys=[shoulder_id])
    follow_ups: Mapped[list["FollowUp"]] = relationship(back_populates="operation", order_by="FollowUp.id")
    put_in: Mapped[list["Component"]] = relationship(
        foreign_keys="Component.put_in_id", back_populates="put_in_at", order_by="Component.id"
    )
    taken_out: Mapped[list["Component"]] = relationship(
        foreign_keys="Component.taken_out_id", back_populates="taken_out_at", order_by="Component.id"
    )


class OperationLog(Base):
    """An operation of somebody who was not enrolled, with the reason and without a name; `operation_id` once they were.

    Coverage is counted from these lines and from the operations themselves (server/queries/coverage.py).
    """

    __tablename__ = "operation_log"
    __table_args__ = table_args(
        one_of("side", SIDES),
        one_of("procedure", PROCEDURE_WORDS),
        one_of("implant_type", IMPLANT_TYPES),
        one_of("not_enrolled_reason", NOT_ENROLLED),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    surgery_on: Mapped[date] = mapped_column(index=True)
    side: Mapped[str] = mapped_column(String(5))
    procedure: Mapped[str | None] = mapped_column(String(40))
    procedure_other: Mapped[str | None] = mapped_column(String(120))
    implant_type: Mapped[str | None] = mapped_column(String(40))
    implant_other: Mapped[str | None] = mapped_column(String(120))
    surgeon: Mapped[str | None] = mapped_column(String(80))
    birth_year: Mapped[int | None]
    operation_id: Mapped[int | None] = mapped_column(ForeignKey("operation.id"), unique=True)
    not_enrolled_reason: Mapped[str | None] = mapped_column(String(20))
    not_enrolled_text: Mapped[str | None] = mapped_column(String(200))
    taken_back_at: Mapped[datetime | None] = mapped_column(Instant)
    made_at: Mapped[datetime] = mapped_column(Instant)
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
