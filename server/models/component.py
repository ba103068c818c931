"""The components of implants: which part, what its label says, in which operation it came in and went out."""

from datetime import date, datetime

from sqlalchemy import ForeignKey, Index, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from server.fields.component import FIXATIONS, MATERIALS, ROLES
from server.models.operation import Operation
from server.store.base import Base, Big, Instant, one_of, table_args


class Component(Base):
    """In the shoulder as long as nothing took it out. One that was written down by mistake is struck, and stays in the history."""

    __tablename__ = "component"
    __table_args__ = table_args(
        one_of("role", ROLES),
        one_of("fixation", FIXATIONS),
        one_of("material", MATERIALS),
        Index("ix_component_lot", "lot"),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    put_in_id: Mapped[int] = mapped_column(ForeignKey("operation.id"), index=True)
    taken_out_id: Mapped[int | None] = mapped_column(ForeignKey("operation.id"), index=True)
    role: Mapped[str] = mapped_column(String(20))
    role_other: Mapped[str | None] = mapped_column(String(80))
    udi: Mapped[str | None] = mapped_column(String(200))
    maker: Mapped[str | None] = mapped_column(String(80))
    model: Mapped[str | None] = mapped_column(String(80))
    catalogue_number: Mapped[str | None] = mapped_column(String(60))
    size: Mapped[str | None] = mapped_column(String(40))
    lot: Mapped[str | None] = mapped_column(String(60))
    serial: Mapped[str | None] = mapped_column(String(60))
    device_identifier: Mapped[str | None] = mapped_column(String(14))
    expires_on: Mapped[date | None]
    fixation: Mapped[str | None] = mapped_column(String(20))
    material: Mapped[str | None] = mapped_column(String(40))
    material_other: Mapped[str | None] = mapped_column(String(80))
    struck_at: Mapped[datetime | None] = mapped_column(Instant)
    made_at: Mapped[datetime] = mapped_column(Instant)
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))

    put_in_at: Mapped[Operation] = relationship(foreign_keys=[put_in_id], back_populates="put_in")
    taken_out_at: Mapped[Operation | None] = relationship(foreign_keys=[taken_out_id], back_populates="taken_out")

    @property
    def gone_at(self) -> Operation | None:
        """The operation that took it out, where that one stands: what was entered in error took nothing out."""
        out = self.taken_out_at
        return out if out is not None and out.taken_back_at is None else None
