"""What was found at the clinic between questionnaires, and operations of people who were never enrolled."""

from datetime import date, datetime, timedelta
from functools import partial
from random import Random
from typing import TYPE_CHECKING, Any

from server.clinic.findings import record_event, record_finding
from server.demo.stories import EventStory, OperationStory
from server.demo.surgery import draw_surgery
from server.demo.world import World
from server.fields.field import Value
from server.models import Operation, OperationLog, Patient
from server.schedule.dates import anniversary

if TYPE_CHECKING:
    from server.demo.life import Life

VISIT_YEARS = (1, 2, 5, 10)
NOT_ENROLLED = (
    "declined",
    "speaks none of the clinic's languages",
    "lives abroad",
    "missed at the desk",
    "cognitive impairment",
)


def examine(life: "Life", told: OperationStory, operation: Operation) -> None:
    """Plans visits around the anniversaries; not everybody comes, and fewer later."""
    world, random, done_on = life.world, life.random, told.done_on or life.story.enrolled_on
    for year in VISIT_YEARS:
        on = anniversary(done_on, year) + timedelta(days=random.randint(-20, 30))
        comes = random.random() < 0.8 - 0.05 * year
        if comes and on > life.story.enrolled_on and on.weekday() < 5 and _still_there(life, told, on):
            world.plan_act(world.office_time(on, random), partial(_find, life, told, operation, year))


def _still_there(life: "Life", told: OperationStory, on: date) -> bool:
    later = [
        each.done_on for each in life.story.operations if each.side == told.side and each is not told and each.done_on
    ]
    after = [each for each in later if each > (told.done_on or each)]
    return (life.story.end is None or on < life.story.end.on) and all(on < each for each in after)


def _find(life: "Life", told: OperationStory, operation: Operation, year: int, at: datetime) -> None:
    random, points = life.random, told.course.ability(year)
    flexion = int(5 * round(min(170, max(40, 55 + 8.5 * points + random.gauss(0, 10))) / 5))
    worn = told.course.plateau_years < year
    found: dict[str, Value] = {
        "examined_on": life.world.day(at),
        "examiner": str(told.facts.get("surgeon", "not recorded")),
        "flexion_degrees": flexion,
        "abduction_degrees": max(30, flexion - random.choice((0, 5, 10, 20))),
        "external_rotation_degrees": int(5 * round(max(0, 12 + 3.2 * points + random.gauss(0, 7)) / 5)),
        "internal_rotation": random.choice(("buttock", "L5", "L3", "T12", "T8")),
        "strength_newtons": round(max(5.0, 12 + 5 * points + random.gauss(0, 8)), 0),
        "glenoid_wear": random.choice(("moderate", "marked")) if worn else random.choice(("none", "mild", None)),
        "loosening": "none",
        "migration": "none" if random.random() < 0.95 else "slight, upward",
    }
    world = life.world
    around: Any = {"now": at, "today": world.day(at), "by_id": world.surgeon_id}
    record_finding(world.session, operation.shoulder, found, **around)


def note_event(world: World, patient: Patient, event: EventStory, at: datetime) -> None:
    shoulder = next(each for each in patient.shoulders if each.side == event.side)
    done = [each for each in shoulder.operations if each.surgery_on is not None and each.surgery_on <= event.on]
    happened: dict[str, Value] = {
        "kind": event.kind,
        "happened_on": event.on,
        "happened_precision": "month",
        "procedure": event.procedure,
        "source": "clinic visit",
        "adjudicator": "Dr Quillhurst",
    }
    around: Any = {"now": at, "today": world.day(at), "by_id": world.surgeon_id}
    record_event(world.session, shoulder, happened, operation_id=done[-1].id if done else None, **around)


def log_not_enrolled(world: World, first_day: date, how_many: int) -> None:
    """Operations in the log without a patient: what coverage is counted from."""
    random = Random("never enrolled")
    days = (world.today - first_day).days
    for place in range(how_many):
        on = first_day + timedelta(days=int(days * (place + random.random()) / how_many))
        facts = draw_surgery(random)
        world.session.add(
            OperationLog(
                surgery_on=on,
                side=random.choice(("left", "right")),
                procedure=facts["procedure"],
                implant_type=facts["implant_type"],
                not_enrolled_reason=random.choice(NOT_ENROLLED),
                made_at=min(world.at(on, 18), world.until),
            )
        )
