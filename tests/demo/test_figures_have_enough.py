"""The whole clinic is large enough for the figures of silence and preference; told from its stories, since to play them takes a minute."""

from datetime import date, timedelta
from math import comb
from random import Random

import pytest

from server.demo.answering import PURSUED_ANSWER
from server.demo.answers import ACCEPTABLE
from server.demo.chance import draw_fate
from server.demo.courses import ONCE, SINCE
from server.demo.invent import invent_clinic
from server.demo.stories import Fate, OperationStory, PatientStory
from server.outcomes.arithmetic.double_sampling import FEWEST, PRIMARY_FROM
from server.outcomes.arithmetic.weighted import FEWEST_SILENT
from server.outcomes.figures.fade import SHOWN_FROM
from server.schedule.dates import anniversary
from server.schedule.lots import QUARTER
from tests.demo.play import TODAY

DAYS = [TODAY, date(2026, 11, 28), date(2027, 2, 28)]  # whoever starts the demo chooses it
CLOSES = timedelta(days=425)  # of the first year, in the plan of most
REMINDED = timedelta(days=35)  # so long every reminder takes; of whom the window closes before, no lot is cast

Asked = list[tuple[PatientStory, OperationStory]]


@pytest.fixture(scope="module", params=DAYS, ids=str)
def today(request: pytest.FixtureRequest) -> date:
    day: date = request.param
    return day


@pytest.fixture(scope="module")
def stories(today: date) -> list[PatientStory]:
    return invent_clinic(today)


@pytest.fixture(scope="module")
def asked(stories: list[PatientStory], today: date) -> Asked:
    """Of whom chance decides whether they answer in the first year."""
    return [
        (story, each)
        for story in stories
        for each in asked_in_the_first_year(story, today)
        if f"{each.side}/year-1" not in story.fates
    ]


def first_implants(story: PatientStory) -> list[OperationStory]:
    return [each for each in story.operations if each.kind == "index" and each.done_on]


def fate_of(story: PatientStory, operation: OperationStory) -> Fate:
    """In the first year, as server.demo.answering draws it."""
    random = Random(f"{story.seed}, {operation.side}/year-1, {operation.kind}")
    return draw_fate(random, story, "year-1", operation.recovery.ability(1))


def has_a_lot(story: PatientStory, operation: OperationStory) -> bool:
    """Every reminder went and nobody answered, so that lots are cast before staff call."""
    if operation.done_on is None or story.person.email is None or not {"contact", "research"} <= set(story.consents):
        return False
    waits = fate_of(story, operation).how in ("none", "late", "telephone")
    return waits and story.enrolled_on + REMINDED < operation.done_on + CLOSES


def asked_in_the_first_year(story: PatientStory, today: date) -> list[OperationStory]:
    """By the program: the window closed after the enrolment, and by today, and the patient lived to see it."""
    gone_on = story.end.on if story.end is not None else date.max
    return [
        each
        for each in first_implants(story)
        if each.done_on and story.enrolled_on < each.done_on + CLOSES < min(today, gone_on)
    ]


def test_enough_of_whom_the_program_asked_are_silent_in_one_year_to_weight_by_them(asked: Asked) -> None:
    silent = sum(fate_of(*each).how == "none" for each in asked)
    assert silent >= FEWEST_SILENT
    assert 0.15 < silent / len(asked) < 0.45


def test_of_the_drawn_about_one_year_ten_answer_and_hardly_ever_fewer_than_it_takes(asked: Asked) -> None:
    """The chance of fewer is that of as many draws, each of which is drawn and then answers."""
    lots, each_answers = sum(has_a_lot(*each) for each in asked), QUARTER * PURSUED_ANSWER
    assert lots * each_answers > PRIMARY_FROM
    chances = (comb(lots, k) * each_answers**k * (1 - each_answers) ** (lots - k) for k in range(FEWEST))
    assert sum(chances) < 0.02


def test_those_of_the_lots_do_worse_and_some_of_the_drawn_say_so(asked: Asked) -> None:
    """In the end the chance that all of the drawn who answer are content."""
    unhappy = {of: [each for each in asked if has_a_lot(*each) == of and is_unhappy(each[1])] for of in (True, False)}
    lots = sum(has_a_lot(*each) for each in asked)
    assert len(unhappy[True]) / lots > len(unhappy[False]) / (len(asked) - lots) + 0.03
    assert (1 - QUARTER * PURSUED_ANSWER) ** len(unhappy[True]) < 0.1


def is_unhappy(operation: OperationStory) -> bool:
    return operation.recovery.ability(1) < ACCEPTABLE


def test_one_pair_of_types_has_people_enough_for_an_exact_test(stories: list[PatientStory], today: date) -> None:
    """Some prefer none or do not say, so it takes many more than the ten with a preference."""
    pairs = [(story, shoulders) for story in stories if len(shoulders := first_implants(story)) == 2]
    of_pair = [each for each in pairs if {one.facts["implant_type"] for one in each[1]} == {ONCE, SINCE}]
    year_old = [
        story
        for story, shoulders in of_pair
        if max(each.done_on for each in shoulders if each.done_on) < anniversary(today, -1)
    ]
    assert len(year_old) >= 2 * SHOWN_FROM
    assert len(of_pair) < len(pairs), "not everybody has had the same two"
