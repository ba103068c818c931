"""What becomes of a shoulder, whoever it belongs to: the first operation, the other shoulder, the revision."""

from dataclasses import replace
from datetime import date, timedelta
from random import Random

from server.demo.recovery import draw_recovery
from server.demo.stories import EventStory, OperationStory, PatientStory
from server.demo.surgery import PROCEDURES, as_revision, draw_surgery

WEEKDAYS = 5
# Why a revision, how often, and the word of the revision's own list of reasons where that is another.
REASONS = {"glenoid_erosion": 40, "loosening": 25, "cuff_failure": 22, "infection": 13}
# Years ago the clinic went over from one type to another, so of those whose second shoulder was operated on later most have just these.
ONCE, SINCE = "resurfacing_hemi", "anatomic_total"
ONCE_AND_SINCE, OTHER_TYPE = 0.8, 0.75  # OTHER_TYPE: of the rest


def first_operation(random: Random, entered_on: date, surgery_on: date, *, moved: bool = False) -> OperationStory:
    """The first implant of a shoulder; `moved`: planned for another day before."""
    facts = draw_surgery(random)
    side = random.choices(("right", "left"), (56, 44))[0]
    planned_on = surgery_on
    moves: tuple[tuple[date, date | None], ...] = ()
    if moved:
        planned_on = weekday(surgery_on - timedelta(days=random.randint(7, 16)))
        moves = ((max(entered_on, planned_on - timedelta(days=3)), surgery_on),)
    return OperationStory(
        side=side,
        entered_on=entered_on,
        recovery=draw_recovery(random, facts["implant_type"]),
        planned_on=max(planned_on, entered_on),
        moves=moves,
        done_on=surgery_on,
        facts={**facts, "dominant": ("yes" if side == "right" else "no") if random.random() < 0.9 else None},
    )


def bilateral(story: PatientStory, today: date, random: Random, *, same_day: bool) -> PatientStory:
    """The other shoulder too, on the same day with the same type of implant; later most often with another, since years lie between."""
    first = story.operations[0]
    other = "left" if first.side == "right" else "right"
    kept = another = first.facts["implant_type"]
    if not same_day and random.random() < ONCE_AND_SINCE:
        another, once = SINCE, {**draw_surgery(random, ONCE), "dominant": first.facts["dominant"]}
        first = replace(first, facts=once, recovery=draw_recovery(random, ONCE))
    elif not same_day and random.random() < OTHER_TYPE:
        another = random.choice([each for each in PROCEDURES if each != kept])
    facts = draw_surgery(random, another)
    recovery = draw_recovery(random, facts["implant_type"])
    done_on = first.done_on or today
    facts["dominant"] = "yes" if other == "right" else "no"
    if same_day:
        second = replace(first, side=other, recovery=recovery, facts=facts)
    else:
        later_on = weekday(min(today - timedelta(days=40), done_on + timedelta(days=random.randint(200, 1500))))
        entered_on = max(story.enrolled_on, weekday(later_on - timedelta(days=random.randint(25, 60))))
        second = OperationStory(other, entered_on, recovery, planned_on=later_on, done_on=later_on, facts=facts)
    return replace(story, operations=(first, second))


def revised(story: PatientStory, random: Random, after: float) -> PatientStory:
    """Fails, is revised after so many years, goes on. The reason is written down as an event some weeks before."""
    first = story.operations[0]
    revised_on = weekday((first.done_on or story.enrolled_on) + timedelta(days=int(after * 365.25)))
    why = random.choices(list(REASONS), list(REASONS.values()))[0]
    to = (
        "reverse" if why == "cuff_failure" else random.choice(("anatomic_total", "resurfacing_with_glenoid", "reverse"))
    )
    first = replace(first, recovery=first.recovery.failing(after))
    entered_on = weekday(revised_on - timedelta(days=random.randint(20, 50)))
    facts = as_revision(draw_surgery(random, to), "glenoid_loosening" if why == "loosening" else why)
    second = OperationStory(
        side=first.side,
        entered_on=entered_on,
        recovery=first.recovery.revised(after, random),
        kind="revision",
        planned_on=revised_on,
        done_on=revised_on,
        facts=facts,
    )
    event = EventStory(first.side, why, entered_on - timedelta(days=12), "revision planned")
    return replace(story, operations=(first, second), events=(event,))


def weekday(day: date) -> date:
    """The same day, or the Friday before a weekend."""
    return day - timedelta(days=max(0, day.weekday() - WEEKDAYS + 1))
