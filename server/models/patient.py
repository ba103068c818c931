"""A patient, what they agreed to, and records that turned out to be the same person."""

from datetime import date, datetime

from sqlalchemy import ForeignKey, Index, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from server.fields.person import CONSENT_KINDS, SEXES
from server.models.operation import Shoulder
from server.store.base import Base, Big, Instant, Sealed, SealedDay, one_of, table_args


class Patient(Base):
    """Names and ways to reach the person are sealed; the year of birth is clear, for age in figures."""

    __tablename__ = "patient"
    __table_args__ = table_args(one_of("sex", SEXES), Index("ix_patient_birth_year", "birth_year"))

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    handle: Mapped[str] = mapped_column(String(32), unique=True)  # random; names the patient's key and the gate's tries
    study_number: Mapped[str] = mapped_column(String(20), unique=True)
    first_name: Mapped[str] = mapped_column(Sealed("patient.first_name"))
    last_name: Mapped[str] = mapped_column(Sealed("patient.last_name"))
    birth_on: Mapped[date] = mapped_column(SealedDay("patient.birth_on"))
    birth_year: Mapped[int]
    sex: Mapped[str] = mapped_column(String(20))
    language: Mapped[str] = mapped_column(String(10))
    time_zone: Mapped[str] = mapped_column(String(40))
    channel_order: Mapped[str] = mapped_column(String(60))  # comma-separated: email, sms, letter, telephone
    email: Mapped[str | None] = mapped_column(Sealed("patient.email"))
    phone: Mapped[str | None] = mapped_column(Sealed("patient.phone"))
    address: Mapped[str | None] = mapped_column(Sealed("patient.address"))
    second_contact: Mapped[str | None] = mapped_column(Sealed("patient.second_contact"))
    died_on: Mapped[date | None]
    withdrew_on: Mapped[date | None]
    transferred_on: Mapped[date | None]
    lost_on: Mapped[date | None]  # date of last contact, once a person confirmed the proposal
    erased_at: Mapped[datetime | None] = mapped_column(Instant)  # the patient's key was deleted on request
    merged_into_id: Mapped[int | None] = mapped_column(ForeignKey("patient.id"), index=True)
    made_at: Mapped[datetime] = mapped_column(Instant)
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))

    shoulders: Mapped[list[Shoulder]] = relationship(order_by=Shoulder.side)
    consents: Mapped[list["Consent"]] = relationship(order_by="Consent.id")


class Consent(Base):
    """One agreement: to be contacted, to research use, to linkage, to unfinished answers being sent. Withdrawn on its own."""

    __tablename__ = "consent"
    __table_args__ = table_args(one_of("kind", CONSENT_KINDS), UniqueConstraint("patient_id", "kind", "given_on"))

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    patient_id: Mapped[int] = mapped_column(ForeignKey("patient.id"), index=True)
    kind: Mapped[str] = mapped_column(String(20))
    version: Mapped[str] = mapped_column(String(20))
    given_on: Mapped[date]
    taken_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    withdrawn_on: Mapped[date | None]
    withdrawal_taken_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))


class PatientMerge(Base):
    """The alias of a duplicate record and how to undo it."""

    __tablename__ = "patient_merge"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    kept_id: Mapped[int] = mapped_column(ForeignKey("patient.id"), index=True)
    alias_id: Mapped[int] = mapped_column(ForeignKey("patient.id"), index=True)
    alias_study_number: Mapped[str] = mapped_column(String(20))
    moved: Mapped[str]  # JSON: what was moved, for the undo
    merged_at: Mapped[datetime] = mapped_column(Instant)
    merged_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    undone_at: Mapped[datetime | None] = mapped_column(Instant)
