"""Invents the clinic: its stories, told backwards from today. The same `today` and number give the same stories.

Of whoever a visitor is not sure to meet, most lie in the binder of the old series; the others were asked by the program from the beginning.
"""

from dataclasses import replace
from datetime import date, timedelta
from random import Random

from server.demo.binder import in_the_binder, taken_up
from server.demo.cast import cast_of_today
from server.demo.chance import SHARES, WILLING
from server.demo.courses import bilateral, first_operation, revised, weekday
from server.demo.lifetime import draw_death, until_death
from server.demo.people import People
from server.demo.stories import EndStory, EventStory, PatientStory
from server.schedule.dates import anniversary

PLAYED_YEARS, PLAYED_DAYS = 6, 120  # since when the clinic has had the program
PATIENTS = 325
IN_THE_BINDER = 0.93
GROWTH = 1.8


def invent_clinic(today: date, *, patients: int = PATIENTS) -> list[PatientStory]:
    """In the order of enrolment. The cast of today comes whole; the rest is drawn."""
    people = People()
    cast = _since(first_day(today), cast_of_today(today, people))
    rest = max(0, patients - len(cast))
    old = round(rest * IN_THE_BINDER)
    drawn = [_story(number, rest - old, today, people) for number in range(rest - old)]
    return sorted(
        (*cast, *drawn, *in_the_binder(today, people, old)), key=lambda story: (story.enrolled_on, story.seed)
    )


def first_day(today: date) -> date:
    """The day from which on the clinic has had the program."""
    return weekday(anniversary(today, -PLAYED_YEARS) - timedelta(days=PLAYED_DAYS))


def _since(began_on: date, stories: list[PatientStory]) -> list[PatientStory]:
    """Whoever was operated on before that day is typed in, a person a day."""
    earlier = [each for each in stories if each.enrolled_on <= began_on]
    typed = [taken_up(each, began_on + timedelta(days=1 + place)) for place, each in enumerate(earlier)]
    return [*typed, *(each for each in stories if each.enrolled_on > began_on)]


def _story(number: int, of: int, today: date, people: People) -> PatientStory:
    """The clinic grows: two thirds of the operations lie in the second half of its years.

    Every patient has a role by its number, so that each kind occurs.
    """
    seed = f"invented patient {number}"
    random = Random(seed)
    span = (today - first_day(today)).days - 240
    days_ago = 60 + int(span * ((number + random.random()) / of) ** GROWTH)
    surgery_on = weekday(today - timedelta(days=days_ago))
    waited = random.randint(18, 75) if number % 13 else random.randint(115, 170)
    enrolled_on = weekday(surgery_on - timedelta(days=waited))
    person = people.invent(random, age_on=surgery_on, spanish=number % 5 == 2, email=number % 11 != 4)
    operation = first_operation(random, enrolled_on, surgery_on, moved=number % 9 == 3)
    story = PatientStory(
        person=person,
        enrolled_on=enrolled_on,
        operations=(operation,),
        seed=seed,
        willing=random.choices(WILLING, SHARES)[0],
        prefers=_prefers(random, person.email is not None),
        consents=_consents(random),
    )
    return _living(_with_role(story, number, today, random), today)


def _living(story: PatientStory, today: date) -> PatientStory:
    """The story until today, or until the patient dies; whoever is operated on lived until then."""
    random = Random(f"{story.seed}, lifetime")
    died_on = draw_death(random, story.person, max(story.enrolled_on, story.operations[0].done_on or today))
    return until_death(story, died_on, random) if died_on < today else story


def _with_role(story: PatientStory, number: int, today: date, random: Random) -> PatientStory:
    first = story.operations[0]
    years = (today - (first.done_on or today)).days / 365.25
    if number % 7 == 1:
        return bilateral(story, today, random, same_day=number % 28 == 1)
    if number % 11 == 5 and years > 2.2:
        return revised(story, random, random.uniform(1.6, min(9.0, years - 0.5)))
    if number % 16 in (9, 14) and years > 3.5:
        return _silent(story, today, random)
    if number % 9 in (4, 7) and years > 1.5:
        return _ended(story, today, random, ("transferred", "contact")[number % 9 // 7])
    if number % 18 == 10 and years > 1.5:
        return _ended(story, today, random, "messages")
    if number % 16 == 10 and years > 3:
        return _taken_up_later(story, today, random)
    if number % 10 == 8 and years > 1:
        return replace(story, events=(_complication(story, random, years),))
    return story


def _ended(story: PatientStory, today: date, random: Random, how: str) -> PatientStory:
    """Moves to another clinic, or withdraws: `how` is then the extent."""
    done_on = story.operations[0].done_on or today
    last = (today - done_on).days - 40
    on = done_on + timedelta(days=random.randint(min(300, last - 1), last))
    known_on = weekday(on + timedelta(days=random.randint(2, 35)))
    if how == "transferred":
        return replace(story, end=EndStory(how, on, known_on))
    return replace(story, end=EndStory("withdrew", on, known_on, how))


def _silent(story: PatientStory, today: date, random: Random) -> PatientStory:
    """Answers in the first years and then no more, so that in the end a person says that they are lost."""
    done_on = story.operations[0].done_on or today
    latest = (today - done_on).days - 1000
    consents = tuple(dict.fromkeys(("contact", *story.consents)))
    silent_from = done_on + timedelta(days=random.randint(min(200, latest), min(1800, latest)))
    return replace(story, silent_from=silent_from, willing=1.12, prefers="phone", consents=consents)


def _taken_up_later(story: PatientStory, today: date, random: Random) -> PatientStory:
    """Operated years or decades before the clinic began to ask: enrolled with a day of surgery that lies back."""
    first = story.operations[0]
    done_on = anniversary(first.done_on or today, -random.randint(4, 14))
    first = replace(first, planned_on=None, moves=(), done_on=done_on)
    return replace(story, operations=(first,))


def _complication(story: PatientStory, random: Random, years: float) -> EventStory:
    first = story.operations[0]
    kind = random.choice(
        ("stiffness", "nerve", "infection", "instability", "glenoid_erosion", "periprosthetic_fracture")
    )
    after = random.randint(30, max(60, int(years * 300)))
    treated = "released under anaesthesia" if kind == "stiffness" else None
    return EventStory(first.side, kind, (first.done_on or story.enrolled_on) + timedelta(days=after), treated)


def _prefers(random: Random, email: bool) -> str:
    return random.choices(("phone", "telephone", "paper"), (90, 6, 4) if email else (0, 45, 55))[0]


def _consents(random: Random) -> tuple[str, ...]:
    wanted = (("contact", 0.985), ("research", 0.93), ("linkage", 0.7), ("unfinished", 0.6))
    return tuple(kind for kind, share in wanted if random.random() < share)
