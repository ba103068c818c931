"""How long invented people live: by Gompertz's law, near a life table.

The yearly risk of dying at an age is `a` times e to the power of `b` times the age. `a` and `b` were fitted by least squares to the
logarithm of the rates at 50 to 95 years of the United States life tables for 2014, as `survexp.us` of R's package survival (3.5)
gives them. At 65 and 80 years the law says 0.017 and 0.065 for men (the table 0.016 and 0.059), 0.011 and 0.046 for women (0.010 and
0.043). Nobody is spared: who has a shoulder replaced dies as everybody does, which is a little more often than was published.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from math import exp, log
from random import Random

from server.demo.people import Person
from server.demo.stories import EndStory, OperationStory, PatientStory

GOMPERTZ = {"male": (5.192e-5, 0.08911), "female": (2.122e-5, 0.09613)}
DAYS = 365.25
OLDEST = 110


def expected_deaths(person: Person, since: date, until: date) -> float:
    """The sum of the risk over these days."""
    a, b = GOMPERTZ[person.sex]
    return a / b * (exp(b * _age(person, until)) - exp(b * _age(person, since)))


def as_life_table() -> bytes:
    """The law itself as a table to be installed: who dies by it is to be compared with nothing else."""
    rows = [
        f"{sex},{age},{a * exp(b * (age + 0.5)):.8f}" for sex, (a, b) in GOMPERTZ.items() for age in range(OLDEST + 1)
    ]
    return "\n".join(("sex,age,rate", *rows, "")).encode()


def draw_death(random: Random, person: Person, since: date) -> date:
    """The day on which somebody dies who was alive on `since`."""
    a, b = GOMPERTZ[person.sex]
    age = log(exp(b * _age(person, since)) + b / a * random.expovariate(1)) / b
    return max(since, person.birth_on + timedelta(days=round(age * DAYS)))


def until_death(story: PatientStory, died_on: date, random: Random) -> PatientStory:
    """The story as it goes if the patient dies on that day: whatever was to come later does not."""
    if story.end is not None and story.end.ends_all and story.end.on <= died_on:
        return story
    operations = tuple(_until(each, died_on) for each in story.operations if each.entered_on < died_on)
    events = tuple(each for each in story.events if each.on < died_on)
    end = EndStory("died", died_on, died_on + timedelta(days=random.randint(2, 35)))
    return replace(story, operations=operations, events=events, end=end)


def _until(operation: OperationStory, died_on: date) -> OperationStory:
    moves = tuple(each for each in operation.moves if each[0] < died_on)
    done = operation.done_on is not None and operation.done_on < died_on
    return replace(operation, moves=moves, done_on=operation.done_on if done else None)


def watched(story: PatientStory, today: date) -> tuple[date, date]:
    """From the day from which somebody might have died in the clinic's sight, to the last one. The old series has all its dead."""
    done = [each.done_on for each in story.operations if each.done_on is not None]
    first_on = min(done, default=story.enrolled_on)
    since = first_on if story.on_paper else max(story.enrolled_on, first_on)
    return since, story.end.on if story.end is not None and story.end.ends_all else today


def deaths(stories: Iterable[PatientStory]) -> int:
    return sum(story.end is not None and story.end.reason == "died" for story in stories)


def _age(person: Person, on: date) -> float:
    return (on - person.birth_on).days / DAYS
