"""The clinic's own part of a link: the secret and the birth dates that were used with it, field-sealed."""

from datetime import date, datetime

from sqlalchemy import Boolean, ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from server.store.base import Base, Big, Instant, Sealed, SealedDay, one_of, partial_index, table_args

LINK_ENDS = ("ended", "replaced")


class Link(Base):
    """One link for what a patient has due. The token is wiped 400 days after the link's end."""

    __tablename__ = "link"
    __table_args__ = table_args(
        one_of("end_state", LINK_ENDS),
        # At most one live link a patient.
        partial_index(
            "ix_link_stale", "sheet_stale", "patient_id", where="sheet_stale", sqlite_where="sheet_stale = 1"
        ),
        partial_index("uq_link_live", "patient_id", where="ended_at IS NULL", unique=True),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    patient_id: Mapped[int] = mapped_column(ForeignKey("patient.id"), index=True)
    lookup_hash: Mapped[bytes] = mapped_column(LargeBinary, unique=True)
    token: Mapped[str | None] = mapped_column(Sealed("link.token"))
    made_at: Mapped[datetime] = mapped_column(Instant)
    ended_at: Mapped[datetime | None] = mapped_column(Instant)
    end_state: Mapped[str | None] = mapped_column(String(10))
    sheet_stale: Mapped[bool] = mapped_column(
        Boolean, default=False
    )  # an answer was recorded; the sheet still asks for it

    birth_dates: Mapped[list["LinkBirthDate"]] = relationship(back_populates="link", order_by="LinkBirthDate.id.desc()")


class LinkBirthDate(Base):
    """Each birth date a link was derived with, newest first; earlier answer keys still verify."""

    __tablename__ = "link_birth_date"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    link_id: Mapped[int] = mapped_column(ForeignKey("link.id"), index=True)
    birth_on: Mapped[date | None] = mapped_column(SealedDay("link_birth_date.birth_on"))
    used_from_at: Mapped[datetime] = mapped_column(Instant)

    link: Mapped[Link] = relationship(back_populates="birth_dates")
