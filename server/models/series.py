"""Series that were saved by name and version, and when the figures of a sentence were first opened by whom."""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Big, Instant, Sealed, one_of, table_args

SET_BEFORE_LOOKING = "set_before_looking"
EXPLORED = "explored"
DECLARED = (SET_BEFORE_LOOKING, EXPLORED)


class Series(Base):
    """Never deleted: `withdrawn_at` marks one that nobody should use. `interests`: what its authors declare, in their own words."""

    __tablename__ = "series"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    name: Mapped[str] = mapped_column(String(80))
    interests: Mapped[str | None] = mapped_column(Sealed("series.interests"))
    withdrawn_at: Mapped[datetime | None] = mapped_column(Instant)


class SeriesVersion(Base):
    """Append-only. `sentence` and `options` are the arguments of its address. `sentences_before`: how many other sentences had had their
    figures opened at this clinic when it was saved."""

    __tablename__ = "series_version"
    __table_args__ = table_args(one_of("declared", DECLARED), CheckConstraint("number > 0", name="number"))

    series_id: Mapped[int] = mapped_column(ForeignKey("series.id"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True)
    sentence: Mapped[str]
    options: Mapped[str]
    declared: Mapped[str] = mapped_column(String(20))
    sentences_before: Mapped[int]
    note: Mapped[str | None] = mapped_column(Sealed("series_version.note"))
    saved_at: Mapped[datetime] = mapped_column(Instant)
    saved_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))


class SeriesLook(Base):
    """The first time that somebody opened figures of a sentence, by the SHA-256 of its address."""

    __tablename__ = "series_look"
    __table_args__ = table_args()

    sentence_sha256: Mapped[bytes] = mapped_column(LargeBinary, primary_key=True)
    by_id: Mapped[int] = mapped_column(ForeignKey("staff_account.id"), primary_key=True)
    at: Mapped[datetime] = mapped_column(Instant)


class ShouldersLook(Base):
    """The first time that somebody opened figures of these very shoulders, under whatever words; by the SHA-256 of their operations."""

    __tablename__ = "shoulders_look"
    __table_args__ = table_args()

    shoulders_sha256: Mapped[bytes] = mapped_column(LargeBinary, primary_key=True)
    by_id: Mapped[int] = mapped_column(ForeignKey("staff_account.id"), primary_key=True)
    at: Mapped[datetime] = mapped_column(Instant)
