"""events.csv, findings.csv, components.csv: what is recorded of a shoulder beside its operations, one row each.

A row is known by study number, side and its number on that shoulder, in the order of entry. What was taken back or struck is in no file
and keeps its number, so that no other row ever gets it.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import and_, select
from sqlalchemy.orm import aliased

from server.exports.column import YES_NO, Column, field_column
from server.exports.empty import Applies, applies_to_component, applies_to_event, applies_to_finding, why_empty
from server.exports.read import AnyRow, Reader
from server.fields.component import COMPONENT
from server.fields.event import EVENT, PRECISIONS
from server.fields.event_grade import SCHEME, grade_of
from server.fields.field import Field
from server.fields.finding import FINDING
from server.fields.leaving import exported, leaving
from server.fields.operation_words import SIDES
from server.models import ClinicEvent, ClinicFinding, Component, Operation, Patient, Shoulder
from server.queries.current import COUNTED, STANDS
from server.queries.events import Told, followed, told_in

EVENTS, FINDINGS, COMPONENTS = "events.csv", "findings.csv", "components.csv"


@dataclass(frozen=True)
class Recorded:
    """`operation`: of an event the one it followed, of a component the one that put it in; `on`: its day of surgery."""

    as_of: date
    study_number: str
    side: str
    number: int
    recorded: Mapping[str, Any]
    operation: int | None = None
    on: date | None = None
    taken_out: int | None = None
    taken_out_on: date | None = None
    precision: str | None = None
    out_precision: str | None = None
    by_answer: bool = False
    grade: int | None = None
    recorded_as: int | None = None


def events(reader: Reader) -> Iterator[Recorded]:
    """What happened, by shoulder, in the order of entry."""
    query = select(ClinicEvent, Shoulder.side, Patient.study_number)
    query = query.join(Shoulder, Shoulder.id == ClinicEvent.shoulder_id)
    query = query.join(Patient, Patient.id == Shoulder.patient_id)
    operations, told = _operations_of_events(reader)
    for number, row in _numbered(reader, query, ClinicEvent):
        event = row.ClinicEvent
        if event.taken_back_at is None:
            of_shoulder = operations.get(event.shoulder_id, [])
            after = followed(event, of_shoulder, told.get(event.response_id or 0))
            recorded_as = next((each.position for each in of_shoulder if each.id == event.recorded_as_id), None)
            yield Recorded(
                reader.as_of, row.study_number, row.side, number, leaving(EVENT, event),
                after.position if after else None, after.surgery_on if after else None,
                precision=after.surgery_precision if after else None,
                by_answer=event.response_id is not None, recorded_as=recorded_as,
                grade=grade_of(event.kind, event.treatment, event.lasting_harm),
            )  # fmt: skip


def _operations_of_events(reader: Reader) -> tuple[Mapping[int, list[AnyRow]], Mapping[int, Told]]:
    """The operations of each shoulder that has an event, and where the answers stand in which events were reported."""
    with_events = select(ClinicEvent.shoulder_id)
    query = select(
        Operation.id,
        Operation.shoulder_id,
        Operation.kind,
        Operation.position,
        Operation.surgery_on,
        Operation.surgery_precision,
    )
    found: dict[int, list[AnyRow]] = {}
    for row in reader.session.execute(query.where(STANDS, Operation.shoulder_id.in_(with_events))):
        found.setdefault(row.shoulder_id, []).append(row)
    reported = select(ClinicEvent.response_id).where(ClinicEvent.response_id.is_not(None))
    return found, told_in(reader.session, reported)


def findings(reader: Reader) -> Iterator[Recorded]:
    """What was found at visits, likewise."""
    query = select(ClinicFinding, Shoulder.side, Patient.study_number)
    query = query.join(Shoulder, Shoulder.id == ClinicFinding.shoulder_id)
    for number, row in _numbered(reader, query.join(Patient, Patient.id == Shoulder.patient_id), ClinicFinding):
        if row.ClinicFinding.taken_back_at is None:
            yield Recorded(reader.as_of, row.study_number, row.side, number, leaving(FINDING, row.ClinicFinding))


def components(reader: Reader) -> Iterator[Recorded]:
    """What was put in, likewise, with the operation that took it out."""
    out = aliased(Operation)
    query = select(
        Component, Shoulder.side, Patient.study_number, Operation.position, Operation.surgery_on, Operation.surgery_precision,
        STANDS.label("stands"), out.position.label("out_position"), out.surgery_on.label("out_on"),
        out.surgery_precision.label("out_precision"),
    )  # fmt: skip
    query = query.join(Operation, Operation.id == Component.put_in_id).join(
        Shoulder, Shoulder.id == Operation.shoulder_id
    )
    query = query.join(Patient, Patient.id == Shoulder.patient_id).outerjoin(
        out, and_(out.id == Component.taken_out_id, out.taken_back_at.is_(None))
    )
    for number, row in _numbered(reader, query, Component):
        if row.Component.struck_at is None and row.stands:
            yield Recorded(
                reader.as_of, row.study_number, row.side, number, leaving(COMPONENT, row.Component), row.position,
                row.surgery_on, row.out_position, row.out_on, precision=row.surgery_precision, out_precision=row.out_precision,
            )  # fmt: skip


def _numbered(reader: Reader, query: Any, model: type[Any]) -> Iterator[tuple[int, AnyRow]]:
    """Rows in the order of study number, side and entry, each with its number on its shoulder."""
    ordered = query.where(COUNTED, reader.included(Patient.id)).order_by(Patient.study_number, Shoulder.side, model.id)
    shoulder, number = None, 0
    for row in reader.session.execute(ordered):
        number = number + 1 if shoulder == (row.study_number, row.side) else 1
        shoulder = row.study_number, row.side
        yield number, row


def _columns(
    file: str, number: str, fields: Sequence[Field], source: str, applies: Applies, *own: Column
) -> tuple[Column, ...]:
    """Whose shoulder, which row, then `own`, then what is recorded by the table of fields, and why a field of it is empty."""

    def column(name: str, label: str, type: str, value: Callable[[Recorded], object], **more: Any) -> Column:
        return Column(name, label, type, (file,), value, source=source, **more)

    recorded: list[Column] = []
    for field in exported(fields):
        recorded.append(field_column(field, file, lambda row: row.recorded, source))
        if field.precision:
            recorded.append(_precision(field, file, source))
    return (
        column("study_number", "Study number: the pseudonym, the same in every export", "text", lambda r: r.study_number),
        column("side", "Shoulder", "word", lambda r: r.side, codes=tuple(SIDES)),
        column(number, "Which row of this shoulder, in the order of entry", "integer", lambda r: r.number,
            note="A number that is missing was taken back"),
        column("as_of", "Day on which statuses were computed", "date", lambda r: r.as_of),
        *own,
        *recorded,
        *why_empty(file, exported(fields), lambda row: row.recorded, applies),
    )  # fmt: skip


def _precision(field: Field, file: str, source: str) -> Column:
    label = f"How exactly {field.column} is known; it holds the first day that it can be"
    return Column(
        field.precision,
        label,
        "word",
        (file,),
        lambda row: row.recorded[field.precision],
        codes=PRECISIONS,
        source=source,
    )


EVENT_COLUMNS = _columns(EVENTS, "event", EVENT, "event", applies_to_event,
    Column("operation", "Which operation on this shoulder it followed", "integer", (EVENTS,), lambda r: r.operation, source="event"),
    Column("surgery_on", "Day of that operation", "date", (EVENTS,), lambda r: r.on, source="operation"),
    Column("surgery_precision", "How exactly that day is known; it holds the first that it can be", "word", (EVENTS,),
        lambda r: r.precision, codes=PRECISIONS, source="operation"),
    Column("recorded_as", "Of a reported operation: as which operation on this shoulder it was recorded", "integer", (EVENTS,),
        lambda r: r.recorded_as, source="event"),
    Column("from_answer", "It became known through an answer of the patient", "integer", (EVENTS,), lambda r: r.by_answer,
        codes=YES_NO, source="event"),
    Column("grade", "Grade from 1 to 5, derived from treatment and lasting harm", "integer", (EVENTS,), lambda r: r.grade,
        source="computed", note=SCHEME),
)  # fmt: skip
FINDING_COLUMNS = _columns(FINDINGS, "finding", FINDING, "clinic finding", applies_to_finding)
COMPONENT_COLUMNS = _columns(COMPONENTS, "component", COMPONENT, "component", applies_to_component,
    Column("operation", "Which operation on this shoulder put it in", "integer", (COMPONENTS,), lambda r: r.operation, source="operation"),
    Column("surgery_on", "Day of that operation", "date", (COMPONENTS,), lambda r: r.on, source="operation"),
    Column("surgery_precision", "How exactly that day is known; it holds the first that it can be", "word", (COMPONENTS,),
        lambda r: r.precision, codes=PRECISIONS, source="operation"),
    Column("taken_out", "Which operation took it out; empty: not recorded as taken out", "integer", (COMPONENTS,),
        lambda r: r.taken_out, source="operation"),
    Column("taken_out_on", "Day of that operation", "date", (COMPONENTS,), lambda r: r.taken_out_on, source="operation"),
    Column("taken_out_precision", "How exactly that day is known; it holds the first that it can be", "word", (COMPONENTS,),
        lambda r: r.out_precision, codes=PRECISIONS, source="operation"),
)  # fmt: skip
