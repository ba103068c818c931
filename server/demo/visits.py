"""What was found at the clinic between questionnaires, and operations of people who were never enrolled."""

from datetime import date, timedelta
from functools import partial
from random import Random
from typing import Any

from sqlalchemy import Select, select

from server.clinic.events import correct_event, record_event
from server.clinic.findings import correct_finding, record_finding
from server.clinic.log import correct_line, log_operation
from server.demo.simulation import Simulation
from server.demo.stories import EventStory, OperationStory, PatientStory
from server.demo.surgery import draw_surgery
from server.fields.field import Value
from server.models import ClinicEvent, ClinicFinding, OperationLog, Patient, Shoulder
from server.queries.facts import left_on
from server.schedule.dates import anniversary

VISIT_YEARS = (1, 2, 5, 10)
NOT_ENROLLED = ("declined", "language", "abroad", "not_asked", "no_capacity", "emergency", "died")
CERTAINTIES = ("reported", "confirmed", "adjudicated")
JUDGED = (("confirmed", 9, "Seen at the clinic."), ("adjudicated", 40, "Judged from the notes by a second surgeon."))
CORRECTED = "The angle was read from the wrong line."


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
    gone_on = min([each for each in (story.end and story.end.on, story.silent_from) if each], default=date.max)
    return on < gone_on and all(on < each for each in after)


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
            "examiner_is_surgeon": True,
            "radiograph_on": simulation.today,
            "radiograph_views": ("true_ap", "axillary"),
            "strength": round(max(5.0, 12 + 5 * points + random.gauss(0, 8)), 0),
            "strength_unit": "n",
            "glenoid_erosion": random.choice(("moderate", "marked")) if worn else random.choice(("none", "mild", None)),
            "loosening": "none",
            "migration": "none" if random.random() < 0.95 else "mild",
        }
        finding_id = record_finding(session, shoulder, found, **_by_surgeon(simulation)).id
    if random.random() < 0.08:
        right = {**found, "flexion_degrees": max(30, flexion - 10)}
        simulation.plan(simulation.now + timedelta(days=2), partial(_correct_finding, simulation, finding_id, right))


def _correct_finding(simulation: Simulation, finding_id: int, found: dict[str, Value]) -> None:
    with simulation.runtime.store.writing() as session:
        finding = session.get_one(ClinicFinding, finding_id)
        correct_finding(session, finding, found, why=CORRECTED, **_by_surgeon(simulation))


def _by_surgeon(simulation: Simulation) -> Any:
    return {"now": simulation.now, "today": simulation.today, "by_id": simulation.staff.surgeon_id}


def plan_events(simulation: Simulation, story: PatientStory, patient_id: int) -> None:
    for event in story.events:
        simulation.plan(simulation.at(event.on, 12), partial(_note_event, simulation, patient_id, event))


def _note_event(simulation: Simulation, patient_id: int, event: EventStory) -> None:
    """As the patient tells it; looked at within two weeks, judged by a surgeon from the notes a month later."""
    with simulation.runtime.store.writing() as session:
        shoulder = session.scalars(_shoulder(patient_id, event.side)).one()
        happened: dict[str, Value] = {
            "kind": event.kind,
            "happened_on": event.on,
            "happened_precision": "month",
            "certainty": "reported",
            "source_kind": "patient",
            "source": "on the telephone",
            **event.more,
        }
        event_id = record_event(session, shoulder, happened, **_by_surgeon(simulation)).id
    for certainty, days, why in JUDGED[: CERTAINTIES.index(event.goes_to)]:
        judge = partial(_judge, simulation, event_id, event, certainty, why)
        simulation.plan(simulation.now + timedelta(days=days), judge)


def _judge(simulation: Simulation, event_id: int, event: EventStory, certainty: str, why: str) -> None:
    with simulation.runtime.store.writing() as session:
        row = session.get_one(ClinicEvent, event_id)
        if left_on(session.get_one(Patient, session.get_one(Shoulder, row.shoulder_id).patient_id)) is not None:
            return
        values: dict[str, Value] = {
            "kind": event.kind,
            "happened_on": event.on,
            "happened_precision": "month",
            "procedure": event.procedure,
            "certainty": certainty,
            "source_kind": "examination",
            "judged_by": "Dr Quillhurst",
            "judged_on": simulation.today,
            **event.more,
        }
        correct_event(session, row, values, why=why, **_by_surgeon(simulation))


def _shoulder(patient_id: int, side: str) -> Select[Shoulder]:
    return select(Shoulder).where(Shoulder.patient_id == patient_id, Shoulder.side == side)


def plan_not_enrolled(simulation: Simulation, first_day: date, how_many: int) -> None:
    """Operations in the log without a patient: what coverage is counted from."""
    random = Random("never enrolled")
    days = (simulation.day(simulation.until) - first_day).days
    for place in range(how_many):
        on = first_day + timedelta(days=int(days * (place + random.random()) / how_many))
        facts, side, reason = draw_surgery(random), random.choice(("left", "right")), random.choice(NOT_ENROLLED)
        born = on.year - random.randint(42, 88)
        line: dict[str, Value] = {
            "surgery_on": on,
            "side": side,
            "procedure": facts["procedure"],
            "implant_type": facts["implant_type"],
            "surgeon": facts["surgeon"],
            "birth_year": born,
            "not_enrolled_reason": reason,
        }
        corrected = {**line, "not_enrolled_reason": "declined"} if reason == "not_asked" and place % 2 else None
        simulation.plan(simulation.at(on, 18), partial(_log, simulation, line, corrected))


def _log(simulation: Simulation, line: dict[str, Value], corrected: dict[str, Value] | None) -> None:
    """What the desk did not know of is put right once the surgeon says that the patient was asked."""
    with simulation.runtime.store.writing() as session:
        line_id = log_operation(session, line, **_by_surgeon(simulation)).id
    if corrected is not None:
        at = simulation.now + timedelta(days=6)
        simulation.plan(at, partial(_correct_line, simulation, line_id, corrected))


def _correct_line(simulation: Simulation, line_id: int, line: dict[str, Value]) -> None:
    with simulation.runtime.store.writing() as session:
        row = session.get_one(OperationLog, line_id)
        correct_line(session, row, line, why="The surgeon had asked.", **_by_surgeon(simulation))
