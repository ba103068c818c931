"""What an examiner found, and what happened to a shoulder between operations."""

from datetime import date, datetime

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from server.fields.event import EVENT_KINDS, PRECISIONS
from server.store.base import Base, Big, Instant, one_of, table_args


class ClinicFinding(Base):
    """Active motion in degrees, strength in newtons, radiographs in the clinic's words."""

    __tablename__ = "clinic_finding"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    shoulder_id: Mapped[int] = mapped_column(ForeignKey("shoulder.id"), index=True)
    timepoint_id: Mapped[int | None] = mapped_column(ForeignKey("timepoint.id"))
    examined_on: Mapped[date]
    examiner: Mapped[str] = mapped_column(String(80))
    flexion_degrees: Mapped[int | None]
    abduction_degrees: Mapped[int | None]
    external_rotation_degrees: Mapped[int | None]
    internal_rotation: Mapped[str | None] = mapped_column(String(40))
    strength_newtons: Mapped[float | None]
    glenoid_wear: Mapped[str | None] = mapped_column(String(80))
    loosening: Mapped[str | None] = mapped_column(String(80))
    migration: Mapped[str | None] = mapped_column(String(80))
    necrosis: Mapped[str | None] = mapped_column(String(80))
    made_at: Mapped[datetime] = mapped_column(Instant)
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))


class ClinicEvent(Base):
    """A complication or finding over time, operated or not. The date carries its precision and source."""

    __tablename__ = "clinic_event"
    __table_args__ = table_args(one_of("kind", EVENT_KINDS), one_of("happened_precision", PRECISIONS))

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    shoulder_id: Mapped[int] = mapped_column(ForeignKey("shoulder.id"), index=True)
    kind: Mapped[str] = mapped_column(String(30))
    operation_id: Mapped[int | None] = mapped_column(ForeignKey("operation.id"))
    procedure: Mapped[str | None] = mapped_column(String(120))
    happened_on: Mapped[date]
    happened_precision: Mapped[str] = mapped_column(String(5))
    source: Mapped[str] = mapped_column(String(120))
    adjudicator: Mapped[str | None] = mapped_column(String(80))
    made_at: Mapped[datetime] = mapped_column(Instant)
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
