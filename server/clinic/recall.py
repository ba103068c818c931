"""Who carries a component that is recalled. Care, not research: whoever withdrew or never consented is on the list too.

Also those whose lot was not recorded, since theirs may be the one, and those in whom nothing of the label was. Names are opened only
for those who are found. Of a person with two records the kept one is read: what a merge left in the other is in both.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from sqlalchemy import ColumnElement, exists, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session, aliased

from server.models import Component, Operation, Patient, Shoulder
from server.queries.current import NOT_MERGED

NO_IMPLANT = ("none", "unknown")
MOST_OFFERED = 300


class Place(StrEnum):
    """Where such a component is, as far as it is known."""

    IN_SITU = "in_situ"
    LOT_UNKNOWN = "lot_unknown"
    NOTHING_RECORDED = "nothing_recorded"
    TAKEN_OUT = "taken_out"


class Reach(StrEnum):
    """Whether and how the person can be reached by what is recorded."""

    DIED = "died"
    NO_WAY = "no_way"
    LOST = "lost"
    WITHDREW = "withdrew"
    TRANSFERRED = "transferred"
    REACHABLE = "reachable"


@dataclass(frozen=True)
class Wanted:
    """What is recalled, as typed. Maker and model may be a part of the name; a lot is whole, its spaces and hyphens do not matter."""

    maker: str = ""
    model: str = ""
    lot: str = ""

    @property
    def anything(self) -> bool:
        return bool(self.maker or self.model or _bare(self.lot))


@dataclass(frozen=True)
class Carrier:
    """One component in one shoulder, or an operation of whose implant no component is recorded."""

    patient: Patient
    side: str
    operation: Operation
    component: Component | None
    taken_out_on: date | None
    place: Place

    @property
    def when(self) -> tuple[date, int, date, int]:
        """Its order on the list."""
        component_id = self.component.id if self.component else 0
        return self.operation.surgery_on or date.max, self.operation.id, self.taken_out_on or date.max, component_id

    @property
    def reach(self) -> Reach:
        patient = self.patient
        if patient.died_on is not None:
            return Reach.DIED
        if not (patient.email or patient.phone or patient.address):
            return Reach.NO_WAY
        states = (
            (patient.lost_on, Reach.LOST),
            (patient.withdrew_on, Reach.WITHDREW),
            (patient.transferred_on, Reach.TRANSFERRED),
        )
        return next((reach for day, reach in states if day is not None), Reach.REACHABLE)


def carriers(session: Session, wanted: Wanted) -> list[Carrier]:
    """Everybody who has, had, or may have such a component; in the shoulder now first, and by day of operation."""
    if not wanted.anything:
        return []
    found = [*_by_label(session, wanted), *_without_label(session)]
    order = list(Place)
    return sorted(found, key=lambda each: (order.index(each.place), *each.when))


def offered(session: Session) -> dict[str, list[str]]:
    """Makers, models and lots that are recorded, to choose from."""
    found = {}
    for name, column in (("maker", Component.maker), ("model", Component.model), ("lot", Component.lot)):
        texts = select(column).where(column.is_not(None), Component.struck_at.is_(None)).distinct()
        found[name] = [str(text) for text in session.scalars(texts.order_by(column).limit(MOST_OFFERED))]
    return found


def _by_label(session: Session, wanted: Wanted) -> Iterable[Carrier]:
    out = aliased(Operation)
    query = (
        select(Component, Operation, Shoulder, Patient, out.surgery_on.label("out_on"))
        .join(Operation, Operation.id == Component.put_in_id)
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .join(Patient, Patient.id == Shoulder.patient_id)
        .outerjoin(out, out.id == Component.taken_out_id)
        .where(Component.struck_at.is_(None), NOT_MERGED)
    )
    for column, text in ((Component.maker, wanted.maker), (Component.model, wanted.model)):
        if text:
            query = query.where(func.lower(column).contains(text.lower(), autoescape=True))
    if _bare(wanted.lot):
        query = query.where((_bare_column(Component.lot) == _bare(wanted.lot)) | Component.lot.is_(None))
    for row in session.execute(query):
        yield Carrier(
            row.Patient,
            row.Shoulder.side,
            row.Operation,
            row.Component,
            row.out_on,
            _place(row, wanted),
        )


def _place(row: Any, wanted: Wanted) -> Place:
    if row.Component.taken_out_id is not None:
        return Place.TAKEN_OUT
    return Place.LOT_UNKNOWN if wanted.lot and row.Component.lot is None else Place.IN_SITU


def _without_label(session: Session) -> Iterable[Carrier]:
    """Operations that put an implant in, by the record, and of which no component is recorded."""
    has_row = exists().where(Component.put_in_id == Operation.id, Component.struck_at.is_(None))
    query = (
        select(Operation, Shoulder, Patient)
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .join(Patient, Patient.id == Shoulder.patient_id)
        .where(Operation.surgery_on.is_not(None), Operation.implant_type.not_in(NO_IMPLANT), ~has_row, NOT_MERGED)
    )
    for row in session.execute(query):
        yield Carrier(row.Patient, row.Shoulder.side, row.Operation, None, None, Place.NOTHING_RECORDED)


def _bare(lot: str) -> str:
    return lot.lower().replace(" ", "").replace("-", "")


def _bare_column(column: InstrumentedAttribute[str | None]) -> ColumnElement[str]:
    return func.replace(func.replace(func.lower(column), " ", ""), "-", "")
