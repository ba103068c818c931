"""Draws of the random quarter of the silent (server/clinic/silence_draw.py)."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Big, Instant, table_args


class SilenceDraw(Base):
    """Append-only. Whose lot was cast is known by their timepoints; with the seed anybody can cast the same lots again."""

    __tablename__ = "silence_draw"
    __table_args__ = table_args(
        CheckConstraint("probability > 0 AND probability <= 1", name="probability"),
        CheckConstraint("people_drawn <= people", name="people_drawn"),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    drawn_on: Mapped[date]
    drawn_at: Mapped[datetime] = mapped_column(Instant)
    drawn_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    seed: Mapped[str] = mapped_column(String(64))
    probability: Mapped[float]
    people: Mapped[int]
    people_drawn: Mapped[int]
