"""Who looked at whose record."""

from datetime import datetime

from sqlalchemy import ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from server.store.base import Base, Instant, table_args


class PatientView(Base):
    """Append-only: in the hour that begins at `hour` this person of staff opened at least one page of this patient."""

    __tablename__ = "patient_view"
    __table_args__ = table_args(
        Index("ix_patient_view_hour", "hour"), Index("ix_patient_view_by_id_hour", "by_id", "hour")
    )

    patient_id: Mapped[int] = mapped_column(ForeignKey("patient.id"), primary_key=True)
    hour: Mapped[datetime] = mapped_column(Instant, primary_key=True)
    by_id: Mapped[int] = mapped_column(ForeignKey("staff_account.id"), primary_key=True)
