"""The old series: people operated on before the clinic asked anybody by this program, whose paper forms lay in a binder.

A nurse typed them in within some weeks, first the earliest: the operations of each, what was on paper, and who had died.
"""

from dataclasses import replace
from datetime import date, timedelta
from random import Random

from server.demo.chance import SHARES, WILLING
from server.demo.courses import WEEKDAYS, bilateral, first_operation, revised, weekday
from server.demo.lifetime import draw_death, until_death
from server.demo.people import People
from server.demo.stories import EndStory, EventStory, OperationStory, PatientStory
from server.schedule.dates import anniversary

YEARS = 20
TYPING_BEGAN_DAYS = 365  # before today
A_DAY = 12  # patients
GROWTH = 3.2  # the larger, the more of them in the last years
REVISED_A_YEAR = 0.009
BOTH_AFTER_YEARS = 2  # by then the other shoulder may have been operated on too
WITH_EMAIL = 0.92  # asked for at typing
LEAVES_EVERY = 30
KNOWN_AFTER = timedelta(days=2)
# The last of them were followed more closely on paper too: from then on new patients start with that plan.
CLOSELY, CLOSELY_UNTIL_DAYS = 60, 150


def typing_began(today: date) -> date:
    return weekday(today - timedelta(days=TYPING_BEGAN_DAYS))


def closely_from(today: date, how_many: int) -> date:
    return _typed_on(today, max(0, how_many - CLOSELY) // A_DAY)


def in_the_binder(today: date, people: People, how_many: int) -> list[PatientStory]:
    """In the order of surgery, which is that of typing."""
    return [_story(number, how_many, today, people) for number in range(how_many)]


def _typed_on(today: date, day: int) -> date:
    """The so-manyth working day of typing."""
    weeks, rest = divmod(typing_began(today).weekday() + day, WEEKDAYS)
    monday = typing_began(today) - timedelta(days=typing_began(today).weekday())
    return monday + timedelta(weeks=weeks, days=rest)


def _story(number: int, of: int, today: date, people: People) -> PatientStory:
    seed = f"in the binder {number}"
    random = Random(seed)
    enrolled_on, first_on = _typed_on(today, number // A_DAY), anniversary(today, -YEARS)
    before = (typing_began(today) - first_on).days - 70
    ago = 70 + int(before * (1 - (number + random.random()) / of) ** GROWTH)
    surgery_on = weekday(typing_began(today) - timedelta(days=ago))
    email = random.random() < WITH_EMAIL
    person = people.invent(random, age_on=surgery_on, spanish=number % 5 == 2, email=email)
    first = replace(first_operation(random, enrolled_on, surgery_on), planned_on=None)
    story = PatientStory(
        person=person,
        enrolled_on=enrolled_on,
        operations=(first,),
        seed=seed,
        willing=random.choices(WILLING, SHARES)[0],
        prefers="phone" if email else random.choice(("paper", "telephone")),
        consents=tuple(kind for kind, share in (("contact", 0.97), ("research", 0.95)) if random.random() < share),
        on_paper=True,
    )
    return _until_death(_typed(_with_course(story, number, today, random)), today, random)


def _with_course(story: PatientStory, number: int, today: date, random: Random) -> PatientStory:
    first_on = story.operations[0].done_on or today
    years = (today - first_on).days / 365.25
    fails_after = random.expovariate(REVISED_A_YEAR)
    if number % 4 == 1 and years > BOTH_AFTER_YEARS:
        return bilateral(story, today, random, same_day=number % 36 == 1)
    if fails_after < years - 0.3:
        return revised(story, random, max(0.4, fails_after))
    return _leaving(story, number, random) if number % LEAVES_EVERY == 4 else story


def _leaving(story: PatientStory, number: int, random: Random) -> PatientStory:
    """Moves away, or wants no more of it, in the months after typing."""
    on = story.enrolled_on + timedelta(days=random.randint(60, 240))
    known_on = weekday(on + timedelta(days=random.randint(5, 30)))
    moves = number // LEAVES_EVERY % 2 == 0
    end = EndStory("transferred", on, known_on) if moves else EndStory("withdrew", on, known_on, "contact")
    return replace(story, end=end)


def taken_up(story: PatientStory, on: date) -> PatientStory:
    """Operated on before that day: typed in then, and followed by the program from there on."""
    story = _typed(replace(story, enrolled_on=on, on_paper=True))
    died_on = story.end.on if story.end is not None and story.end.reason == "died" else None
    return story if died_on is None or died_on > on + KNOWN_AFTER else _already_dead(story, died_on)


def _typed(story: PatientStory) -> PatientStory:
    """What was done by then is entered with the first operation; a second one of the same shoulder the day after, before the forms."""
    sides, operations = set[str](), list[OperationStory]()
    for each in story.operations:
        by_then = each.done_on is not None and each.done_on < story.enrolled_on
        on = story.enrolled_on + timedelta(days=int(each.side in sides))
        typed = replace(each, entered_on=on, planned_on=None, moves=())
        operations.append(typed if by_then else replace(each, entered_on=max(each.entered_on, on)))
        sides.add(each.side)
    return replace(story, operations=tuple(operations), events=tuple(_noted(each, story) for each in story.events))


def _noted(event: EventStory, story: PatientStory) -> EventStory:
    """Of long ago nobody judges any more what the notes say."""
    in_the_notes = {"source_kind": "examination", "source": "in the notes", **event.more}
    return replace(event, goes_to="reported", more=in_the_notes) if event.on < story.enrolled_on else event


def _until_death(story: PatientStory, today: date, random: Random) -> PatientStory:
    died_on = draw_death(random, story.person, story.operations[0].done_on or today)
    if died_on >= today:
        return story
    if died_on > story.enrolled_on + KNOWN_AFTER:
        return until_death(story, died_on, random)
    return _already_dead(story, died_on)


def _already_dead(story: PatientStory, died_on: date) -> PatientStory:
    """In the binder all the same, as consented on paper when operated on; the death is entered after the forms."""
    done = tuple(each for each in story.operations if each.done_on is not None and each.done_on < died_on)
    events = tuple(each for each in story.events if each.on < died_on)
    end = EndStory("died", died_on, story.enrolled_on + KNOWN_AFTER)
    return replace(story, operations=done, events=events, end=end, consents=())
