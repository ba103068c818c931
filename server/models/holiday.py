"""Days on which the clinic is closed."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Instant, table_args


class ClinicHoliday(Base):
    """Stays with who entered it when it is removed. `yearly`: it returns on these days of every year."""

    __tablename__ = "clinic_holiday"
    __table_args__ = table_args(CheckConstraint("last_on >= first_on", name="in_order"))

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str | None] = mapped_column(String(60))
    first_on: Mapped[date]
    last_on: Mapped[date]
    yearly: Mapped[bool]
    added_at: Mapped[datetime] = mapped_column(Instant)
    added_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    removed_at: Mapped[datetime | None] = mapped_column(Instant)
    removed_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
