"""What was found at the clinic between questionnaires, and operations of people who were never enrolled."""

from datetime import date, timedelta
from functools import partial
from random import Random
from typing import Any

from sqlalchemy import Select, select

from server.clinic.events import record_event
from server.clinic.findings import record_finding
from server.clinic.log import log_operation
from server.demo.simulation import Simulation
from server.demo.stories import EventStory, OperationStory, PatientStory
from server.demo.surgery import draw_surgery
from server.fields.field import Value
from server.models import Shoulder
from server.schedule.dates import anniversary

VISIT_YEARS = (1, 2, 5, 10)
NOT_ENROLLED = ("declined", "language", "abroad", "not_asked", "no_capacity")


def plan_visits(simulation: Simulation, story: PatientStory, operation_story: OperationStory, patient_id: int) -> None:
    """Visits around the anniversaries of an operation that is or will be done; not everybody comes, and fewer later."""
    random, done_on = (
        Random(f"{story.seed}, {operation_story.side}, {operation_story.kind}, visits"),
        operation_story.done_on or story.enrolled_on,
    )
    for year in VISIT_YEARS:
        on = anniversary(done_on, year) + timedelta(days=random.randint(-20, 30))
        comes = random.random() < 0.8 - 0.05 * year
        if comes and on > story.enrolled_on and on.weekday() < 5 and _still_there(story, operation_story, on):
            find = partial(_find, simulation, operation_story, patient_id, year, random)
            simulation.plan(simulation.office_time(on, random), find)


def _still_there(story: PatientStory, operation_story: OperationStory, on: date) -> bool:
    later = [
        each.done_on
        for each in story.operations
        if each.side == operation_story.side and each is not operation_story and each.done_on
    ]
    after = [each for each in later if each > (operation_story.done_on or each)]
    return (story.end is None or on < story.end.on) and all(on < each for each in after)


def _find(simulation: Simulation, operation_story: OperationStory, patient_id: int, year: int, random: Random) -> None:
    points = operation_story.recovery.ability(year)
    flexion = int(5 * round(min(170, max(40, 55 + 8.5 * points + random.gauss(0, 10))) / 5))
    worn = operation_story.recovery.plateau_years < year
    with simulation.runtime.store.writing() as session:
        shoulder = session.scalars(_shoulder(patient_id, operation_story.side)).one()
        found: dict[str, Value] = {
            "examined_on": simulation.today,
            "examiner": str(operation_story.facts.get("surgeon", "not recorded")),
            "flexion_degrees": flexion,
            "abduction_degrees": max(30, flexion - random.choice((0, 5, 10, 20))),
            "external_rotation_degrees": int(5 * round(max(0, 12 + 3.2 * points + random.gauss(0, 7)) / 5)),
            "internal_rotation": random.choice(("buttock", "l5", "l3", "t12", "t8")),
            "measured_by": "goniometer",
            "strength": round(max(5.0, 12 + 5 * points + random.gauss(0, 8)), 0),
            "strength_unit": "n",
            "glenoid_erosion": random.choice(("moderate", "marked")) if worn else random.choice(("none", "mild", None)),
            "loosening": "none",
            "migration": "none" if random.random() < 0.95 else "mild",
        }
        record_finding(session, shoulder, found, **_by_surgeon(simulation))


def _by_surgeon(simulation: Simulation) -> Any:
    return {"now": simulation.now, "today": simulation.today, "by_id": simulation.staff.surgeon_id}


def plan_events(simulation: Simulation, story: PatientStory, patient_id: int) -> None:
    for event in story.events:
        simulation.plan(simulation.at(event.on, 12), partial(_note_event, simulation, patient_id, event))


def _note_event(simulation: Simulation, patient_id: int, event: EventStory) -> None:
    with simulation.runtime.store.writing() as session:
        shoulder = session.scalars(_shoulder(patient_id, event.side)).one()
        happened: dict[str, Value] = {
            "kind": event.kind,
            "happened_on": event.on,
            "happened_precision": "month",
            "procedure": event.procedure,
            "certainty": "adjudicated",
            "source_kind": "examination",
            "judged_by": "Dr Quillhurst",
            "judged_on": event.on,
        }
        record_event(session, shoulder, happened, **_by_surgeon(simulation))


def _shoulder(patient_id: int, side: str) -> Select[Shoulder]:
    return select(Shoulder).where(Shoulder.patient_id == patient_id, Shoulder.side == side)


def plan_not_enrolled(simulation: Simulation, first_day: date, how_many: int) -> None:
    """Operations in the log without a patient: what coverage is counted from."""
    random = Random("never enrolled")
    days = (simulation.day(simulation.until) - first_day).days
    for place in range(how_many):
        on = first_day + timedelta(days=int(days * (place + random.random()) / how_many))
        facts, side, reason = draw_surgery(random), random.choice(("left", "right")), random.choice(NOT_ENROLLED)
        simulation.plan(simulation.at(on, 18), partial(_log, simulation, on, side, facts, reason))


def _log(simulation: Simulation, on: date, side: str, facts: dict[str, str], reason: str) -> None:
    with simulation.runtime.store.writing() as session:
        line: dict[str, Value] = {
            "surgery_on": on,
            "side": side,
            "procedure": facts["procedure"],
            "implant_type": facts["implant_type"],
            "surgeon": facts["surgeon"],
            "not_enrolled_reason": reason,
        }
        log_operation(session, line, **_by_surgeon(simulation))
