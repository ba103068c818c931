"""What the clinic puts right weeks after it was written down, each with its reason; and one person's two records made one."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from sqlalchemy.orm import Session

from server.clinic.hospital_numbers import add_number, key_of
from server.clinic.merge import merge
from server.clinic.merge_plan import plan_merge
from server.clinic.misplaced import Act, Ground
from server.clinic.operation_entry import ComponentsEntry, Desk, correct_operation
from server.clinic.side import answers_of, correct_side
from server.demo.simulation import Simulation
from server.fields.component import COMPONENT
from server.fields.field import Value
from server.links.publish import publish_sheet
from server.models import Operation, Patient

AFTER_DAYS = {"lot": 30, "day": 30, "side": 60}
READ_AGAIN = "Read again from the label: the last letter was missing."
REPORT_SAYS = "The operation report says the day before."
OTHER_SHOULDER = "The operation report and the patient say the other shoulder."
SAME_PERSON = "Same name and birth date; the patient says that both records are theirs."


def mend(simulation: Simulation, what: str, operation_id: int) -> None:
    """`what`: a word of MENDING."""
    with simulation.runtime.store.writing() as session:
        operation = session.get_one(Operation, operation_id)
        if operation.surgery_on is None:
            return
        MENDING[what](session, operation, simulation)
        _publish(session, session.get_one(Patient, operation.shoulder.patient_id), simulation)


def make_one(simulation: Simulation, kept_id: int, alias_id: int) -> None:
    """Somebody has looked at both records."""
    with simulation.runtime.store.writing() as session:
        kept, alias = session.get_one(Patient, kept_id), session.get_one(Patient, alias_id)
        act = Act(SAME_PERSON, simulation.now, simulation.today, simulation.staff.nurse_id)
        merge(session, plan_merge(session, kept, alias), act, simulation.runtime.keys)
        _publish(session, session.get_one(Patient, kept_id), simulation)


def number_patient(session: Session, patient: Patient, simulation: Simulation) -> None:
    """The hospital's own number, and for some that of another one."""
    key = key_of(session, simulation.runtime.keys)
    issued = [("Larkenfield General Hospital", f"LG-{41000 + 7 * patient.id}")]
    if patient.id % 4 == 1:
        issued.append(("Notatown Hospital", f"N {90000 - 3 * patient.id}"))
    for issuer, number in issued:
        add_number(session, patient, {"issuer": issuer, "number": number}, key, **_stamp(simulation))


def _lot(session: Session, operation: Operation, simulation: Simulation) -> None:
    first = next(each for each in operation.put_in if each.struck_at is None)
    values = {field.name: getattr(first, field.name) for field in COMPONENT}
    values["lot"] = f"{first.lot or 'DEMO-00'}B"
    out = frozenset(each.id for each in operation.taken_out)
    desk = Desk(today=simulation.today, why=READ_AGAIN, **_stamp(simulation))
    correct_operation(session, operation, {}, ComponentsEntry(changed={first.id: values}, taken_out=out), None, desk)


def _day(session: Session, operation: Operation, simulation: Simulation) -> None:
    if operation.surgery_on is not None:
        moved: dict[str, Value] = {"surgery_on": operation.surgery_on - timedelta(days=1), "surgery_precision": "day"}
        out = frozenset(each.id for each in operation.taken_out)
        desk = Desk(today=simulation.today, why=REPORT_SAYS, checked=True, **_stamp(simulation))
        correct_operation(session, operation, moved, ComponentsEntry(taken_out=out), None, desk)


def _side(session: Session, operation: Operation, simulation: Simulation) -> None:
    """What was said on the telephone was meant of the true shoulder. The phone had asked about the other one: set aside."""
    said = Ground("patient", confirmed_by="the patient", confirmed_on=simulation.today, confirmed_how="telephone")
    told = [each.response.id for each in answers_of(session, operation) if each.response.mode == "telephone"]
    act = Act(OTHER_SHOULDER, simulation.now, simulation.today, simulation.staff.nurse_id)
    correct_side(session, operation, dict.fromkeys(told, said), act)


def _publish(session: Session, patient: Patient, simulation: Simulation) -> None:
    session.flush()
    publish_sheet(session, patient, library=simulation.runtime.library, now=simulation.now, today=simulation.today)


def _stamp(simulation: Simulation) -> Any:
    return {"now": simulation.now, "by_id": simulation.staff.nurse_id}


MENDING: dict[str, Callable[[Session, Operation, Simulation], None]] = {"lot": _lot, "day": _day, "side": _side}
