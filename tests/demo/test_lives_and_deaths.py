"""People of the invented clinic die by the stated law, and some are lost, withdraw or move."""

from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from math import exp, factorial
from random import Random
from typing import cast

import pytest
from sqlalchemy import select

from server.clinic.lost import KIND
from server.demo.answering import Answering
from server.demo.invent import PATIENTS, invent_clinic
from server.demo.lifetime import deaths, draw_death, expected_deaths, watched
from server.demo.people import People, Person
from server.demo.simulation import Invited, Simulation
from server.demo.stories import EndStory, Fate
from server.models import Flag, Message, Patient, Response, Timepoint
from server.queries.last_known import last_known_of
from tests.demo.play import TODAY, Demo

# Yearly rates of the United States life tables for 2014 (survexp.us of R's survival 3.5).
TABLE = {("male", 65): 0.0157, ("male", 80): 0.0592, ("female", 65): 0.0098, ("female", 80): 0.0430}


@dataclass
class Diary:
    """What a patient will do, in place of the simulation that plays it."""

    today: date = TODAY
    planned: list[date] = field(default_factory=list)

    def at(self, day: date, hour: int, minute: int = 0) -> datetime:
        return datetime.combine(day, time(hour, minute))

    def day(self, at: datetime) -> date:
        return at.date()

    def plan(self, at: datetime, _act: object) -> None:
        self.planned.append(at.date())


def up_to(deaths: int, expected: float) -> float:
    """The chance of so many deaths or fewer."""
    return sum(exp(-expected) * expected**count / factorial(count) for count in range(deaths + 1))


def aged(sex: str, years: int) -> Person:
    person = People().invent(Random(1), age_on=TODAY, spanish=False, email=True)
    return Person(**{**vars(person), "sex": sex, "birth_on": date(TODAY.year - years, TODAY.month, TODAY.day)})


@pytest.mark.parametrize(("sex", "age"), TABLE)
def test_the_law_lies_within_a_fifth_of_the_life_table(sex: str, age: int) -> None:
    person = aged(sex, age)
    assert expected_deaths(person, TODAY, TODAY + timedelta(days=365)) == pytest.approx(TABLE[sex, age], rel=0.2)


def test_drawn_deaths_are_as_many_as_the_law_says() -> None:
    until, person = TODAY + timedelta(days=3652), aged("female", 70)
    drawn = [draw_death(Random(f"life {number}"), person, TODAY) for number in range(2000)]
    assert all(each >= TODAY for each in drawn)
    lived = [expected_deaths(person, TODAY, min(each, until)) for each in drawn]
    assert sum(each < until for each in drawn) / sum(lived) == pytest.approx(1, abs=0.1)


@pytest.mark.parametrize("patients", [42, PATIENTS])
def test_observed_deaths_lie_within_the_exact_limits_of_those_expected(patients: int) -> None:
    stories = invent_clinic(TODAY, patients=patients)
    expected = sum(expected_deaths(each.person, *watched(each, TODAY)) for each in stories)
    observed = deaths(stories)
    assert observed >= 2
    assert up_to(observed, expected) > 0.025 and 1 - up_to(observed - 1, expected) > 0.025


def test_some_are_lost_move_or_withdraw_each_to_another_extent() -> None:
    stories = invent_clinic(TODAY)
    ends = [each.end for each in stories if each.end]
    assert sum(each.reason == "transferred" for each in ends) >= 2
    assert {each.extent for each in ends if each.reason == "withdrew"} == {"messages", "contact", "records"}
    assert sum(each.silent_from is not None for each in stories) >= 2


def test_nobody_answers_after_the_day_of_death(seeded: Demo) -> None:
    died = select(Patient.died_on, Response.finished_at).outerjoin(Response, Response.patient_id == Patient.id)
    with seeded.runtime.store.reading() as session:
        rows = session.execute(died.where(Patient.died_on.is_not(None))).all()
    assert rows
    assert all(died_on and (finished_at is None or finished_at.date() < died_on) for died_on, finished_at in rows)


@pytest.mark.parametrize(
    ("reason", "extent", "answers"),
    [("transferred", "contact", False), ("withdrew", "contact", False), ("withdrew", "messages", True)],
)
def test_who_has_moved_or_withdrawn_answers_no_more_though_the_clinic_has_not_heard(
    reason: str, extent: str, answers: bool
) -> None:
    end = EndStory(reason, TODAY + timedelta(days=2), TODAY + timedelta(days=30), extent)
    story = next(each for each in invent_clinic(TODAY, patients=42) if each.person.email)
    story, diary = replace(story, fates={"left/year-1": Fate("phone", days=3)}, silent_from=None, end=end), Diary()
    form = Invited(1, 1, 1, "form", "left", "year-1", 1, TODAY, TODAY + timedelta(days=60))
    Answering(cast(Simulation, diary), story, 1, {1: story.operations[0]}).invited(form)
    assert diary.planned == ([TODAY + timedelta(days=3)] if answers else [])


def test_somebody_is_lost_by_the_rule_and_by_a_person(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        lost = session.scalars(select(Patient).where(Patient.lost_on.is_not(None))).all()
        proposed = select(Flag).where(Flag.kind == KIND, Flag.settled_at.is_not(None))
        settled = {each.patient_id for each in session.scalars(proposed)}
        assert lost and {each.id for each in lost} <= settled


def test_a_withdrawal_says_how_far_it_goes(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        extents = set(session.scalars(select(Patient.withdrawal_extent).where(Patient.withdrawal_extent.is_not(None))))
        sent = select(Message.made_at, Patient.withdrew_on).join(Timepoint, Timepoint.id == Message.timepoint_id)
        of_patient = sent.join(Patient, Patient.id == Timepoint.patient_id).where(Message.outcome == "sent")
        rows = session.execute(of_patient.where(Patient.withdrew_on.is_not(None))).all()
    assert "records" in extents
    assert rows and all(
        withdrew_on and made_at.date() <= withdrew_on + timedelta(days=35) for made_at, withdrew_on in rows
    )


def test_nobody_who_is_lost_was_spoken_to_since(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        lost = session.scalars(select(Patient).where(Patient.lost_on.is_not(None))).all()
        spoken_to = [last_known_of(session, each, TODAY).contact for each in lost]
        assert lost and [known.on if known else None for known in spoken_to] == [each.lost_on for each in lost]
