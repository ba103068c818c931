"""The life table that a clinic installed to compare deaths with, and those it replaced."""

from datetime import datetime

from sqlalchemy import ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Instant, table_args


class InstalledLifeTable(Base):
    """One table is in force, the one that did not end. `content` are the bytes of the file as UTF-8 text, `sha256` is theirs.

    `installed_by_id` is None from the command line.
    """

    __tablename__ = "installed_life_table"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(primary_key=True)
    source: Mapped[str] = mapped_column(String(300))
    content: Mapped[str]
    sha256: Mapped[bytes] = mapped_column(LargeBinary)
    installed_at: Mapped[datetime] = mapped_column(Instant)
    installed_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    ended_at: Mapped[datetime | None] = mapped_column(Instant)
