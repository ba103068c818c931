"""A patient, what they agreed to, and records that turned out to be the same person."""

from datetime import date, datetime

from sqlalchemy import Boolean, ForeignKey, Index, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from server.fields.event import PRECISIONS
from server.fields.field import CERTAINTIES
from server.fields.person import (
    AFTER_CAPACITY,
    CONSENT_BY,
    CONSENT_KINDS,
    DEATH_SOURCES,
    SEXES,
    WITHDRAWAL_EXTENTS,
)
from server.models.operation import Shoulder
from server.store.base import Base, Big, Instant, Sealed, SealedDay, one_of, partial_index, table_args


class Patient(Base):
    """Names and ways to reach the person are sealed; the year of birth is clear, for age in figures."""

    __tablename__ = "patient"
    __table_args__ = table_args(
        one_of("sex", SEXES),
        one_of("withdrawal_extent", WITHDRAWAL_EXTENTS),
        one_of("died_precision", PRECISIONS),
        one_of("died_source", DEATH_SOURCES),
        one_of("died_certainty", CERTAINTIES),
        one_of("capacity_then", AFTER_CAPACITY),
        Index("ix_patient_birth_year", "birth_year"),
    )

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
    died_on: Mapped[date | None]  # the first day that it can have been, by `died_precision`; None there: the day itself
    died_precision: Mapped[str | None] = mapped_column(String(5))
    died_source: Mapped[str | None] = mapped_column(String(20))
    died_certainty: Mapped[str | None] = mapped_column(String(12))
    withdrawal_extent: Mapped[str | None] = mapped_column(String(12))
    # From when, for each step of a withdrawal: a later one leaves the days of those before it as they are.
    messages_stopped_on: Mapped[date | None]  # followed as before, but no message goes
    withdrew_on: Mapped[date | None]  # from all contact
    records_closed_on: Mapped[date | None]
    erasure_asked_on: Mapped[date | None]
    transferred_on: Mapped[date | None]
    lost_on: Mapped[date | None]  # date of last contact, once a person confirmed the proposal
    capacity_lost_on: Mapped[date | None]
    representative: Mapped[str | None] = mapped_column(Sealed("patient.representative"))
    capacity_then: Mapped[str | None] = mapped_column(String(8))
    erased_at: Mapped[datetime | None] = mapped_column(Instant)  # the patient's key was deleted on request
    taken_back_at: Mapped[datetime | None] = mapped_column(Instant)  # enrolled in error: counts nowhere
    merged_into_id: Mapped[int | None] = mapped_column(ForeignKey("patient.id"), index=True)
    made_at: Mapped[datetime] = mapped_column(Instant)
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))

    shoulders: Mapped[list[Shoulder]] = relationship(order_by=Shoulder.side)
    consents: Mapped[list["Consent"]] = relationship(order_by="Consent.id")


class Consent(Base):
    """One agreement: to be contacted, to research use, to linkage, to unfinished answers being sent. Withdrawn on its own.

    `notice_id`: the very text that was agreed to, in the language in which it was read; None where `version` was typed.
    One that was entered by mistake is set aside and counts for nothing.
    """

    __tablename__ = "consent"
    __table_args__ = table_args(
        one_of("kind", CONSENT_KINDS),
        one_of("given_by", CONSENT_BY),
        one_of("withdrawn_by", CONSENT_BY),
        partial_index(
            "uq_consent_standing", "patient_id", "kind", "given_on", where="set_aside_at IS NULL", unique=True
        ),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    patient_id: Mapped[int] = mapped_column(ForeignKey("patient.id"), index=True)
    kind: Mapped[str] = mapped_column(String(20))
    version: Mapped[str] = mapped_column(String(20))
    notice_id: Mapped[int | None] = mapped_column(ForeignKey("clinic_notice.id"), index=True)
    given_on: Mapped[date]
    given_by: Mapped[str | None] = mapped_column(String(14))
    given_by_name: Mapped[str | None] = mapped_column(Sealed("consent.given_by_name"))
    taken_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    withdrawn_on: Mapped[date | None]
    withdrawn_by: Mapped[str | None] = mapped_column(String(14))
    withdrawn_by_name: Mapped[str | None] = mapped_column(Sealed("consent.withdrawn_by_name"))
    withdrawal_taken_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    set_aside_at: Mapped[datetime | None] = mapped_column(Instant)


class HospitalNumber(Base):
    """A number under which a hospital or health service knows the patient. Found by exact match through keyed fingerprints.

    `number_digest` is of the number alone, for searching; `issued_digest` of issuer and number, of which only one can be.
    """

    __tablename__ = "hospital_number"
    __table_args__ = table_args(
        partial_index("ix_hospital_number_search", "number_digest", "removed_at", where="removed_at IS NULL"),
        partial_index("uq_hospital_number_issued", "issued_digest", where="removed_at IS NULL", unique=True),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    patient_id: Mapped[int] = mapped_column(ForeignKey("patient.id"), index=True)
    issuer: Mapped[str] = mapped_column(Sealed("hospital_number.issuer"))
    number: Mapped[str] = mapped_column(Sealed("hospital_number.number"))
    number_digest: Mapped[bytes] = mapped_column(LargeBinary)
    issued_digest: Mapped[bytes] = mapped_column(LargeBinary)
    made_at: Mapped[datetime] = mapped_column(Instant)
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    removed_at: Mapped[datetime | None] = mapped_column(Instant)


class PatientMerge(Base):
    """Two records of one person made one, by whom and why, and how to undo it."""

    __tablename__ = "patient_merge"
    __table_args__ = table_args()

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    kept_id: Mapped[int] = mapped_column(ForeignKey("patient.id"), index=True)
    alias_id: Mapped[int] = mapped_column(ForeignKey("patient.id"), index=True)
    alias_study_number: Mapped[str] = mapped_column(String(20))
    moved: Mapped[str]  # JSON: what was moved, for the undo; ids, columns and values that stand in clear anyway
    why: Mapped[str | None] = mapped_column(Sealed("patient_merge.why"))
    # Asked about, and said to be one person all the same.
    other_birth_year: Mapped[bool | None] = mapped_column(Boolean)
    merged_at: Mapped[datetime] = mapped_column(Instant)
    merged_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    undone_at: Mapped[datetime | None] = mapped_column(Instant)
    undone_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
    undone_why: Mapped[str | None] = mapped_column(Sealed("patient_merge.undone_why"))
