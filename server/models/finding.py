"""What an examiner found, what happened to a shoulder, and what other sources know of a person."""

from datetime import date, datetime

from sqlalchemy import ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from server.fields.event import (
    EVENT_KINDS,
    HARMS,
    INFECTION_CERTAINTIES,
    INFECTION_DEFINITIONS,
    PRECISIONS,
    REVISION_DECISIONS,
    SOURCE_KINDS,
    TREATMENTS,
)
from server.fields.field import CERTAINTIES
from server.fields.finding import (
    LEVELS,
    MEASURED_BY,
    OF_A_COMPONENT,
    PARTS_SEEN,
    RADIOGRAPHIC,
    SCHEMES,
    SEEN,
    SIGN,
    STRENGTH_DEVICES,
    STRENGTH_POSITIONS,
    STRENGTH_UNITS,
)
from server.fields.known_status import ALIVE, IMPLANT, STATUS_SOURCES
from server.fields.operation_words import SIDES
from server.models.operation import Operation
from server.store.base import Base, Big, Instant, one_of, table_args

_LAGS = ("lag_external_rotation", "lag_hornblower", "lag_internal_rotation", "lag_belly_press")


class ClinicFinding(Base):
    """One visit. What was entered in error is marked so (`taken_back_at`) and stays; the reason stands in the history."""

    __tablename__ = "clinic_finding"
    __table_args__ = table_args(
        one_of("measured_by", MEASURED_BY),
        *(one_of(f"{prefix}internal_rotation", LEVELS) for prefix in ("", "passive_", "other_")),
        one_of("strength_unit", STRENGTH_UNITS),
        one_of("strength_device", STRENGTH_DEVICES),
        one_of("strength_position", STRENGTH_POSITIONS),
        *(one_of(column, SIGN) for column in _LAGS),
        *(one_of(column, SEEN) for column in RADIOGRAPHIC),
        one_of("radiograph_scheme", SCHEMES),
        *(one_of(f"{column}_of", PARTS_SEEN) for column in OF_A_COMPONENT),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    shoulder_id: Mapped[int] = mapped_column(ForeignKey("shoulder.id"), index=True)
    examined_on: Mapped[date]
    examiner: Mapped[str] = mapped_column(String(80))
    examiner_is_surgeon: Mapped[bool | None]
    measured_by: Mapped[str | None] = mapped_column(String(20))
    pain_free: Mapped[bool | None]
    flexion_degrees: Mapped[int | None]
    abduction_degrees: Mapped[int | None]
    external_rotation_degrees: Mapped[int | None]
    external_rotation_90_degrees: Mapped[int | None]
    internal_rotation: Mapped[str | None] = mapped_column(String(10))
    passive_flexion_degrees: Mapped[int | None]
    passive_abduction_degrees: Mapped[int | None]
    passive_external_rotation_degrees: Mapped[int | None]
    passive_external_rotation_90_degrees: Mapped[int | None]
    passive_internal_rotation: Mapped[str | None] = mapped_column(String(10))
    other_flexion_degrees: Mapped[int | None]
    other_abduction_degrees: Mapped[int | None]
    other_external_rotation_degrees: Mapped[int | None]
    other_external_rotation_90_degrees: Mapped[int | None]
    other_internal_rotation: Mapped[str | None] = mapped_column(String(10))
    strength: Mapped[float | None]
    strength_unit: Mapped[str | None] = mapped_column(String(2))
    strength_device: Mapped[str | None] = mapped_column(String(20))
    strength_device_other: Mapped[str | None] = mapped_column(String(80))
    strength_position: Mapped[str | None] = mapped_column(String(30))
    strength_position_other: Mapped[str | None] = mapped_column(String(80))
    cannot_reach_90: Mapped[bool | None]
    other_strength: Mapped[float | None]
    lag_external_rotation: Mapped[str | None] = mapped_column(String(20))
    lag_hornblower: Mapped[str | None] = mapped_column(String(20))
    lag_internal_rotation: Mapped[str | None] = mapped_column(String(20))
    lag_belly_press: Mapped[str | None] = mapped_column(String(20))
    radiograph_on: Mapped[date | None]
    radiograph_views: Mapped[str | None] = mapped_column(String(60))  # comma-separated
    radiograph_views_other: Mapped[str | None] = mapped_column(String(80))
    radiograph_reader: Mapped[str | None] = mapped_column(String(80))
    reader_is_surgeon: Mapped[bool | None]
    radiograph_scheme: Mapped[str | None] = mapped_column(String(20))
    radiograph_scheme_other: Mapped[str | None] = mapped_column(String(80))
    migration: Mapped[str | None] = mapped_column(String(20))
    migration_of: Mapped[str | None] = mapped_column(String(20))
    loosening: Mapped[str | None] = mapped_column(String(20))
    loosening_of: Mapped[str | None] = mapped_column(String(20))
    displacement: Mapped[str | None] = mapped_column(String(20))
    bone_resorption: Mapped[str | None] = mapped_column(String(20))
    bone_formation: Mapped[str | None] = mapped_column(String(20))
    articular_wear: Mapped[str | None] = mapped_column(String(20))
    fracture: Mapped[str | None] = mapped_column(String(20))
    breakage: Mapped[str | None] = mapped_column(String(20))
    necrosis: Mapped[str | None] = mapped_column(String(20))
    glenoid_erosion: Mapped[str | None] = mapped_column(String(20))
    radiograph_other: Mapped[str | None] = mapped_column(String(400))
    note: Mapped[str | None] = mapped_column(String(400))
    taken_back_at: Mapped[datetime | None] = mapped_column(Instant)
    made_at: Mapped[datetime] = mapped_column(Instant)
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))


class ClinicEvent(Base):
    """What happened, operated or not. `response_id` and `item`: the answer in which a patient reported it, which makes one event.

    What was entered in error is marked so (`taken_back_at`) and stays; the reason stands in the history.
    """

    __tablename__ = "clinic_event"
    __table_args__ = table_args(
        one_of("kind", EVENT_KINDS),
        one_of("happened_precision", PRECISIONS),
        one_of("revision_decision", REVISION_DECISIONS),
        one_of("certainty", CERTAINTIES),
        one_of("source_kind", SOURCE_KINDS),
        one_of("treatment", TREATMENTS),
        one_of("lasting_harm", HARMS),
        one_of("infection_definition", INFECTION_DEFINITIONS),
        one_of("infection_certainty", INFECTION_CERTAINTIES),
        UniqueConstraint("response_id", "item"),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    shoulder_id: Mapped[int] = mapped_column(ForeignKey("shoulder.id"), index=True)
    recorded_as_id: Mapped[int | None] = mapped_column(ForeignKey("operation.id"))  # the operation that was reported
    response_id: Mapped[int | None] = mapped_column(ForeignKey("response.id"))
    item: Mapped[str | None] = mapped_column(String(40))  # "since@2/7"
    kind: Mapped[str] = mapped_column(String(40))
    kind_other: Mapped[str | None] = mapped_column(String(200))
    happened_on: Mapped[date]
    happened_precision: Mapped[str] = mapped_column(String(5))
    revision_decision: Mapped[str | None] = mapped_column(String(10))
    certainty: Mapped[str] = mapped_column(String(12))
    source_kind: Mapped[str] = mapped_column(String(20))
    source: Mapped[str | None] = mapped_column(String(120))
    judged_by: Mapped[str | None] = mapped_column(String(80))
    judged_on: Mapped[date | None]
    treatment: Mapped[str | None] = mapped_column(String(20))
    procedure: Mapped[str | None] = mapped_column(String(120))
    lasting_harm: Mapped[str | None] = mapped_column(String(10))
    infection_definition: Mapped[str | None] = mapped_column(String(10))
    infection_definition_other: Mapped[str | None] = mapped_column(String(120))
    infection_certainty: Mapped[str | None] = mapped_column(String(10))
    cultures_taken: Mapped[int | None]
    cultures_positive: Mapped[int | None]
    organism: Mapped[str | None] = mapped_column(String(200))  # comma-separated
    organism_other: Mapped[str | None] = mapped_column(String(120))
    taken_back_at: Mapped[datetime | None] = mapped_column(Instant)
    made_at: Mapped[datetime] = mapped_column(Instant)
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))

    # The operation that was reported, where it stands: one that was entered in error leaves the report open again.
    recorded_as: Mapped[Operation | None] = relationship(
        viewonly=True,
        primaryjoin="and_(ClinicEvent.recorded_as_id == Operation.id, Operation.taken_back_at.is_(None))",
    )


class KnownStatus(Base):
    """What a letter, a register, another department or a relative says of a person on a day. Each moves only what it shows."""

    __tablename__ = "known_status"
    __table_args__ = table_args(
        one_of("source", STATUS_SOURCES),
        one_of("alive", ALIVE),
        one_of("side", SIDES),
        one_of("implant", IMPLANT),
    )

    id: Mapped[int] = mapped_column(Big, primary_key=True)
    patient_id: Mapped[int] = mapped_column(ForeignKey("patient.id"), index=True)
    known_on: Mapped[date]
    source: Mapped[str] = mapped_column(String(20))
    source_text: Mapped[str | None] = mapped_column(String(120))
    alive: Mapped[str | None] = mapped_column(String(10))
    side: Mapped[str | None] = mapped_column(String(5))
    implant: Mapped[str | None] = mapped_column(String(10))
    examined: Mapped[bool | None]
    covers: Mapped[bool | None]
    taken_back_at: Mapped[datetime | None] = mapped_column(Instant)
    made_at: Mapped[datetime] = mapped_column(Instant)
    made_by_id: Mapped[int | None] = mapped_column(ForeignKey("staff_account.id"))
