"""Exports that were locked: a paper refers to one by its name."""

from datetime import date, datetime

from sqlalchemy import ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Big, Instant, Sealed, table_args


class DataLock(Base):
    """Append-only: nothing changes or removes one. `content` is the zip file of the set, sealed; `sha256` is of the zip itself."""

    __tablename__ = "data_lock"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    name: Mapped[str] = mapped_column(String(40), unique=True)
    as_of: Mapped[date]
    why: Mapped[str] = mapped_column(Sealed("data_lock.why"))
    sha256: Mapped[bytes] = mapped_column(LargeBinary)
    length: Mapped[int] = mapped_column(Big)
    made_at: Mapped[datetime] = mapped_column(Instant)
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    content: Mapped[bytes] = mapped_column(LargeBinary, deferred=True)
