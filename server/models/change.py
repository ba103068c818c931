"""What was recorded before and was changed: one history for operations, patients, findings, events and the clinic's settings."""

from datetime import datetime

from sqlalchemy import ForeignKey, Index, String
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Big, Instant, Sealed, table_args


class FieldChange(Base):
    """Append-only. Old, new and the reason are sealed: a field may be a name or a telephone number."""

    __tablename__ = "field_change"
    __table_args__ = table_args(Index("ix_field_change_row", "table_name", "row_id"))

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    table_name: Mapped[str] = mapped_column(String(30))  # "operation"
    row_id: Mapped[int] = mapped_column(Big)
    field: Mapped[str] = mapped_column(String(40))
    old: Mapped[str | None] = mapped_column(Sealed("field_change.old"))
    new: Mapped[str | None] = mapped_column(Sealed("field_change.new"))
    why: Mapped[str | None] = mapped_column(Sealed("field_change.why"))
    at: Mapped[datetime] = mapped_column(Instant)
    by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
