"""Who carries a component that is recalled. Care, not research: whoever withdrew or never consented is on the list too.

Also those of whose label a part that is asked for was not recorded, since theirs may be the one, and operations that left an implant of
which a part has no row. Names are opened only for those who are found. Of a person with two records the kept one is read: what a merge left
in the other is in both.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import groupby
from typing import Any

from sqlalchemy import ColumnElement, Row, and_, func, or_, select
from sqlalchemy.orm import InstrumentedAttribute, Session, aliased

from server.fields.component import NOT_OF_AN_IMPLANT
from server.fields.operation_words import IMPLANTS, KINDS, PROCEDURES, PUT_NOTHING_IN
from server.models import Component, Operation, OperationLog, Patient, Shoulder
from server.queries.course import in_course
from server.queries.current import COUNTED, LOGGED, STANDS

MOST_OFFERED = 300
SHORTEST_MODEL = 3  # signs: fewer stand in the name of most models
AnyRow = Row[*tuple[Any, ...]]


class Place(StrEnum):
    """Where such a component is, as far as it is known."""

    IN_SITU = "in_situ"
    LABEL_UNKNOWN = "label_unknown"
    PART_NOT_RECORDED = "part_not_recorded"
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
    """One component in one shoulder, or an operation of whose implant a part has no row; `missing`: which parts, where that is known."""

    patient: Patient
    side: str
    operation: Operation
    component: Component | None
    taken_out_on: date | None
    place: Place
    missing: tuple[str, ...] = ()

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
    found = [*_by_label(session, wanted), *_without_a_row(session)]
    order = list(Place)
    return sorted(found, key=lambda each: (order.index(each.place), *each.when))


def offered(session: Session) -> dict[str, list[str]]:
    """Makers, models and lots that are recorded, to choose from."""
    found = {}
    for name, column in (("maker", Component.maker), ("model", Component.model), ("lot", Component.lot)):
        texts = select(column).where(column.is_not(None), Component.struck_at.is_(None)).distinct()
        found[name] = [str(text) for text in session.scalars(texts.order_by(column).limit(MOST_OFFERED))]
    return found


def other_lots(session: Session, wanted: Wanted) -> list[str]:
    """Recorded lots of which the typed one is a part: who typed the beginning of a lot must not read that nobody carries it."""
    bare = _bare(wanted.lot)
    if not bare:
        return []
    lot = _bare_column(Component.lot)
    longer = select(Component.lot).where(
        lot.contains(bare, autoescape=True), lot != bare, Component.struck_at.is_(None)
    )
    return [str(text) for text in session.scalars(longer.distinct().order_by(Component.lot).limit(MOST_OFFERED))]


def looked_for(session: Session, typed: str) -> Wanted | None:
    """What a text that somebody searches for would be on this list: a recorded lot, or a part of a recorded model; None for neither."""
    recorded = select(Component.id).join(Operation, Operation.id == Component.put_in_id).join(Shoulder).join(Patient)
    recorded = recorded.where(Component.struck_at.is_(None), STANDS, COUNTED).limit(1)
    if _bare(typed) and session.scalar(recorded.where(_bare_column(Component.lot) == _bare(typed))) is not None:
        return Wanted(lot=typed)
    has_model = _has(Component.model, typed)
    if len(typed) >= SHORTEST_MODEL and session.scalar(recorded.where(has_model)) is not None:
        return Wanted(model=typed)
    return None


def _by_label(session: Session, wanted: Wanted) -> Iterable[Carrier]:
    out = aliased(Operation)
    query = (
        select(Component, Operation, Shoulder, Patient, out.id.label("out_id"), out.surgery_on.label("out_on"))
        .join(Operation, Operation.id == Component.put_in_id)
        .join(Shoulder, Shoulder.id == Operation.shoulder_id)
        .join(Patient, Patient.id == Shoulder.patient_id)
        .outerjoin(out, and_(out.id == Component.taken_out_id, out.taken_back_at.is_(None)))
        .where(Component.struck_at.is_(None), STANDS, COUNTED)
    )
    for column, text in ((Component.maker, wanted.maker), (Component.model, wanted.model)):
        if text:
            query = query.where(or_(_has(column, text), column.is_(None)))
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
    component = row.Component
    if row.out_id is not None:
        return Place.TAKEN_OUT
    asked = ((wanted.maker, component.maker), (wanted.model, component.model), (_bare(wanted.lot), component.lot))
    unknown = any(text and recorded is None for text, recorded in asked)
    return Place.LABEL_UNKNOWN if unknown else Place.IN_SITU


def _without_a_row(session: Session) -> Iterable[Carrier]:
    """Operations after which, by the record, an implant is or may be in the shoulder of which not every part has a row."""
    query = (
        select(
            Operation.id, Operation.shoulder_id, Operation.kind, Operation.procedure, Operation.implant_type,
            Operation.position, Operation.first_stage_id, Operation.surgery_on, Operation.surgery_precision,
        )
        .where(Operation.surgery_on.is_not(None), STANDS)
        .order_by(Operation.shoulder_id)
    )  # fmt: skip
    rows = session.execute(query).all()
    parts: dict[int, list[AnyRow]] = {}
    recorded = select(Component.put_in_id, Component.taken_out_id, Component.role).where(Component.struck_at.is_(None))
    for part in session.execute(recorded):
        parts.setdefault(part.put_in_id, []).append(part)
    found: dict[int, tuple[str, ...]] = {}
    for _shoulder, of_shoulder in groupby(rows, key=lambda row: row.shoulder_id):
        found |= _missing_parts([row for _day, row in in_course(list(of_shoulder))], parts)
    theirs = _with_patient().where(Operation.id.in_(found), COUNTED)
    for row in session.execute(theirs) if found else ():
        missing = found[row.Operation.id]
        yield Carrier(row.Patient, row.Shoulder.side, row.Operation, None, None, Place.PART_NOT_RECORDED, missing)


def _missing_parts(in_order: Sequence[AnyRow], parts: dict[int, list[AnyRow]]) -> dict[int, tuple[str, ...]]:
    """By operation of one shoulder, of those whose implant has no row for a part: which; empty where nobody can say which."""
    found: dict[int, tuple[str, ...]] = {}
    there: list[AnyRow] = []
    for operation in in_order:
        own = parts.get(operation.id, [])
        there = [each for each in [*there, *own] if each.taken_out_id != operation.id]
        if not _leaves_an_implant(operation):
            continue
        needed = IMPLANTS[operation.implant_type].parts if operation.implant_type else ()
        missing = tuple(role for role in needed if role not in {each.role for each in there})
        of_an_implant = any(each.role not in NOT_OF_AN_IMPLANT for each in own)
        puts_in = KINDS[operation.kind].exchanges and operation.procedure not in PUT_NOTHING_IN
        if missing or (puts_in and not of_an_implant):
            found[operation.id] = missing
    return found


def _leaves_an_implant(operation: AnyRow | OperationLog) -> bool:
    """By what is recorded. What is not recorded, or unknown, may be an implant, unless the procedure leaves none."""
    if operation.implant_type in (None, "unknown"):
        return operation.procedure is None or not PROCEDURES[operation.procedure].native
    return bool(operation.implant_type != "none")


def logged(session: Session) -> int:
    """Operations of people who are not enrolled, after which an implant is or may be in: no list of names holds them."""
    return sum(_leaves_an_implant(each) for each in session.scalars(select(OperationLog).where(LOGGED)))


def _with_patient() -> Any:
    joined = select(Operation, Shoulder, Patient).join(Shoulder, Shoulder.id == Operation.shoulder_id)
    return joined.join(Patient, Patient.id == Shoulder.patient_id)


def _has(column: InstrumentedAttribute[str | None], text: str) -> ColumnElement[bool]:
    return func.lower(column).contains(text.lower(), autoescape=True)


def _bare(lot: str) -> str:
    return lot.lower().replace(" ", "").replace("-", "")


def _bare_column(column: InstrumentedAttribute[str | None]) -> ColumnElement[str]:
    return func.replace(func.replace(func.lower(column), " ", ""), "-", "")
