"""One read of the database: the years of every shoulder whose patient takes part, after its first operation here.

Whoever is in the record and does not take part is a row of it and no more. The patients' sealed answers stay shut.
"""

from collections import defaultdict
from collections.abc import Container, Mapping, Sequence
from datetime import date
from operator import attrgetter
from typing import Any, NamedTuple

from sqlalchemy import Row as Found
from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from server.fields.operation_words import KINDS, PROCEDURES
from server.models import Clinic, Component, FollowUp, Operation, Patient, Shoulder
from server.outcomes.series.collector import collector_at_rest
from server.outcomes.series.dated import Dated, death, in_order
from server.outcomes.series.digest import Digest
from server.outcomes.series.followed import DatedFact, Followed, Followings, Later, Point
from server.outcomes.series.points import read_points
from server.outcomes.series.row import Record, Row
from server.queries.clock import clinic_day, the_clinic
from server.queries.course import in_course
from server.queries.current import STANDS
from server.queries.facts import death_by
from server.queries.last_known import last_known_of_all
from server.queries.research import included
from server.schedule.last_known import LastKnown

AnyFound = Found[*tuple[Any, ...]]
_OPERATION = (
    Operation.id, Operation.shoulder_id, Operation.position, Operation.kind, Operation.first_stage_id, Operation.surgery_on,
    Operation.surgery_precision, Operation.procedure, Operation.implant_type, Operation.reason, Operation.certainty, Operation.stage,
    Operation.made_at,
)  # fmt: skip
_PATIENT = (Patient.id, Patient.died_on, Patient.died_precision, Patient.died_certainty)
# What the record tells of each operation. Its forms are told by the timepoints.
_OF_ROW = attrgetter(*(name for name in Row.__dataclass_fields__ if name != "forms"))


class _Read(NamedTuple):
    """`began_on`: the first day of an operation's follow-ups; what has none was watched since it was entered.

    `exchanged`: operations at which a component came in or went out.
    """

    clinic: Clinic
    as_of: date
    operations: Mapping[int, list[AnyFound]]  # by shoulder
    shoulder_of: Mapping[int, int]
    patients: Mapping[int, AnyFound]
    began_on: Mapping[int, date]
    exchanged: Container[int]
    known: Mapping[int, LastKnown]
    points: Mapping[int, Mapping[str, Point]]


def read_followings(session: Session, record: Record, *, searched: Container[int] = ()) -> Followings:
    """`searched`: the years of surgery of which every operation was searched for later events, so that none of them stayed unknown."""
    with collector_at_rest():
        return _read_followings(session, record, searched)


def _read_followings(session: Session, record: Record, searched: Container[int]) -> Followings:
    digest = Digest()
    digest.take_written("record", [record.as_of, *map(_OF_ROW, record.rows)])
    read = _read(session, record.as_of, digest)
    first = [row for row in record.rows if row.takes_part and row.kind == "index"]
    found = {row.operation_id: _followed(row, read, searched) for row in first if row.operation_id is not None}
    # The years that were searched are a setting, and move this day and with it the curves of implant survival.
    digest.take_written("watched_from", (each.watched_from for each in found.values()))
    return Followings(record, found, digest.hexdigest())


def _read(session: Session, as_of: date, digest: Digest) -> _Read:
    taking_part, done = included(Patient.id, as_of, all_patients=False), (STANDS, Operation.surgery_on <= as_of)
    of_shoulder = select(*_OPERATION).join(Shoulder, Shoulder.id == Operation.shoulder_id)
    of_shoulder = of_shoulder.join(Patient, Patient.id == Shoulder.patient_id).where(taking_part, *done)
    operations = _taken(session, of_shoulder.order_by(Operation.id), digest, "operation")
    patients = _taken(session, select(*_PATIENT).where(taking_part).order_by(Patient.id), digest, "patient")
    began = select(FollowUp.operation_id, func.min(FollowUp.started_on).label("began_on")).group_by(
        FollowUp.operation_id
    )
    put_in = select(Component.put_in_id).where(Component.struck_at.is_(None))
    moved = put_in.union(select(Component.taken_out_id).where(Component.struck_at.is_(None)))
    by_shoulder: dict[int, list[AnyFound]] = defaultdict(list)
    for each in operations:
        by_shoulder[each.shoulder_id].append(each)
    known = last_known_of_all(session, as_of)
    read = _Read(
        the_clinic(session),
        as_of,
        by_shoulder,
        {each.id: each.shoulder_id for each in operations},
        {each.id: each for each in patients},
        {each.operation_id: each.began_on for each in session.execute(began)},
        set(session.scalars(moved)),
        known,
        read_points(session, as_of, digest),
    )
    digest.take_written("began_on", (read.began_on.get(each.id) for each in operations))
    digest.take_written("exchanged", (each.id in read.exchanged for each in operations))
    digest.take_written("known", (_told(known.get(each.id)) for each in patients))
    return read


def _taken(session: Session, query: Select[*tuple[Any, ...]], digest: Digest, name: str) -> Sequence[AnyFound]:
    rows = session.execute(query).all()
    digest.take_written(name, map(tuple, rows))
    return rows


def _told(known: LastKnown | None) -> tuple[object, ...]:
    """What of it goes into a shoulder's years."""
    if known is None:
        return ()
    sides = sorted({*known.implant, *known.reported_implant})
    return known.alive and known.alive.on, *(
        (side, known.implant.get(side), known.reported_implant.get(side)) for side in sides
    )


def _followed(row: Row, read: _Read, searched: Container[int]) -> Followed:
    operation, patient_id = row.operation_id or 0, row.patient_id or 0
    patient, known = read.patients[patient_id], read.known.get(patient_id, LastKnown())
    until = min(read.as_of, death_by(patient) or read.as_of)
    course = [each for _day, each in in_course(read.operations[read.shoulder_of[operation]], until)]
    course = course[[each.id for each in course].index(operation) :]
    contacts = [each.on for each in (known.contact, known.alive, known.implant.get(row.side)) if each is not None]
    days = in_order([Dated(each.surgery_on, each.surgery_precision) for each in course], until, contacts)
    surgery, implant = days[0].on, known.implant.get(row.side)
    alive_on = None if known.alive is None else max(surgery, known.alive.on)
    began_on = read.began_on.get(operation) or clinic_day(read.clinic, course[0].made_at)
    died_on = (
        Dated(patient.died_on, patient.died_precision) if patient.died_on and patient.died_on <= read.as_of else None
    )
    return Followed(
        row,
        days[0],
        surgery if row.surgery_on.year in searched else max(surgery, began_on),
        read.points.get(operation, {}),
        tuple(_later(each, day, read.exchanged) for each, day in zip(course[1:], days[1:], strict=True)),
        None if died_on is None else death(died_on, until, alive_on or surgery, days[-1]),
        patient.died_certainty != "reported",
        alive_on,
        None if implant is None else max(surgery, implant.on),
        bool(said := _operated_unrecorded(known, row.side)),
        min(said, default=None),
    )


def _later(operation: AnyFound, day: DatedFact, exchanged: Container[int]) -> Later:
    procedure = PROCEDURES.get(operation.procedure)
    by_its_words = KINDS[operation.kind].exchanges and not (procedure is not None and procedure.native)
    return Later(
        day, operation.kind, operation.procedure, operation.implant_type, operation.reason, operation.certainty, operation.stage,
        exchanges=by_its_words or operation.id in exchanged,
    )  # fmt: skip


def _operated_unrecorded(known: LastKnown, side: str) -> list[date]:
    """When it was first said, also where it is only reported: who counts events has to look for it."""
    told = known.implant.get(side), known.reported_implant.get(side)
    return [each.said_on for each in told if each is not None and each.said_on is not None]
