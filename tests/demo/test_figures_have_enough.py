"""The whole clinic is large enough for the figures of silence and preference; told from its stories, since to play them takes a minute."""

from datetime import date, timedelta
from random import Random

import pytest

from server.demo.chance import draw_fate
from server.demo.courses import ONCE, SINCE
from server.demo.invent import invent_clinic
from server.demo.stories import OperationStory, PatientStory
from server.outcomes.arithmetic.weighted import FEWEST_SILENT
from server.outcomes.figures.fade import SHOWN_FROM
from server.schedule.dates import anniversary
from tests.demo.play import TODAY

DAYS = [TODAY, date(2027, 2, 28)]  # whoever starts the demo chooses it
CLOSES = timedelta(days=425)  # of the first year, in the plan of most


def first_implants(story: PatientStory) -> list[OperationStory]:
    return [each for each in story.operations if each.kind == "index" and each.done_on]


def is_silent(story: PatientStory, operation: OperationStory) -> bool:
    """In the first year, as server.demo.answering draws it."""
    random = Random(f"{story.seed}, {operation.side}/year-1, {operation.kind}")
    return draw_fate(random, story, "year-1", operation.recovery.ability(1)).how == "none"


def asked_in_the_first_year(story: PatientStory, today: date) -> list[OperationStory]:
    """By the program: the window closed after the enrolment, and by today, and the patient lived to see it."""
    gone_on = story.end.on if story.end is not None else date.max
    return [
        each
        for each in first_implants(story)
        if each.done_on and story.enrolled_on < each.done_on + CLOSES < min(today, gone_on)
    ]


@pytest.mark.parametrize("today", DAYS)
def test_enough_of_whom_the_program_asked_are_silent_in_one_year_to_weight_by_them(today: date) -> None:
    asked = [
        (story, each)
        for story in invent_clinic(today)
        for each in asked_in_the_first_year(story, today)
        if f"{each.side}/year-1" not in story.fates
    ]
    silent = sum(is_silent(story, each) for story, each in asked)
    assert silent >= FEWEST_SILENT
    assert 0.15 < silent / len(asked) < 0.45


@pytest.mark.parametrize("today", DAYS)
def test_one_pair_of_types_has_people_enough_for_an_exact_test(today: date) -> None:
    """Some prefer none or do not say, so it takes many more than the ten with a preference."""
    pairs = [(story, shoulders) for story in invent_clinic(today) if len(shoulders := first_implants(story)) == 2]
    of_pair = [each for each in pairs if {one.facts["implant_type"] for one in each[1]} == {ONCE, SINCE}]
    year_old = [
        story
        for story, shoulders in of_pair
        if max(each.done_on for each in shoulders if each.done_on) < anniversary(today, -1)
    ]
    assert len(year_old) >= 2 * SHOWN_FROM
    assert len(of_pair) < len(pairs), "not everybody has had the same two"
