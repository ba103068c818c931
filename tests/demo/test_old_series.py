"""The old series of the invented clinic: twenty years, typed in from a binder, with what the figures of a series need."""

from collections import Counter

import pytest
from sqlalchemy import func, select

from server.demo.binder import CLOSELY, TYPING_BEGAN_DAYS, YEARS
from server.demo.invent import invent_clinic
from server.demo.stories import OperationStory, PatientStory
from server.models import InstalledLifeTable, Patient, Response, SilenceDraw, Timepoint
from server.queries.clock import the_clinic
from server.schedule.dates import anniversary
from tests.demo.play import TODAY, Demo


@pytest.fixture(scope="module")
def stories() -> list[PatientStory]:
    return invent_clinic(TODAY)


def done(stories: list[PatientStory]) -> list[OperationStory]:
    return [each for story in stories for each in story.operations if each.done_on is not None]


def types_of(story: PatientStory) -> list[str]:
    """Of the first implant of each side."""
    return [each.facts["implant_type"] for each in story.operations if each.kind == "index" and each.done_on]


def test_there_are_about_four_hundred_operations_over_twenty_years(stories: list[PatientStory]) -> None:
    days = sorted(each.done_on for each in done(stories) if each.done_on)
    assert 330 < len(days) < 430
    assert anniversary(TODAY, -YEARS) <= days[0] < anniversary(TODAY, 3 - YEARS)
    half = sum(day > anniversary(TODAY, -YEARS // 2) for day in days)
    assert 0.5 < half / len(days) < 0.85


def test_about_forty_people_have_two_types_of_implant(stories: list[PatientStory]) -> None:
    both = [types for story in stories if len(types := types_of(story)) == 2]
    assert 32 <= sum(len(set(types)) == 2 for types in both) <= 55
    assert any(len(set(types)) == 1 for types in both)


def test_as_many_are_revised_as_is_published(stories: list[PatientStory]) -> None:
    """By ten years of component time, 4 to 10 of a hundred (crude: deaths and time to come left aside)."""
    index = [each for each in done(stories) if each.kind == "index"]
    revisions = [each for each in done(stories) if each.kind == "revision"]
    years = sum((TODAY - each.done_on).days / 365.25 for each in index if each.done_on)
    assert 0.04 < 10 * len(revisions) / years < 0.12
    reasons = Counter(each.facts["reason"] for each in revisions)
    assert len(reasons) >= 3 and reasons["cuff_failure"] >= 1
    assert any(each.facts["implant_type"] == "reverse" for each in revisions)


def test_who_had_died_before_typing_is_in_it_with_a_consent_on_paper(stories: list[PatientStory]) -> None:
    dead = [story for story in stories if story.died_before]
    assert len(dead) > 10
    assert all(story.on_paper and not story.consents for story in dead)
    assert all(each.done_on and each.done_on < story.end.on for story in dead if story.end for each in story.operations)


def test_paper_forms_count_for_the_window_in_which_they_were_filled_in(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        typed = select(Response.window_state, Timepoint.historical).join(
            Timepoint, Timepoint.id == Response.timepoint_id
        )
        rows = session.execute(typed.where(Response.mode == "paper", Timepoint.historical)).all()
        enrolled = func.count(Patient.id.distinct())
        old = session.scalar(select(enrolled).join(Timepoint).where(Timepoint.historical))
    assert len(rows) > 20 and {row.window_state for row in rows} == {"in"}
    assert old is not None and old >= 6


def test_a_lot_is_cast_of_most_whom_every_reminder_left_silent(seeded: Demo) -> None:
    """Whoever was called before has none, so staff wait for it."""
    with seeded.runtime.store.reading() as session:
        first_on = session.scalar(select(func.min(SilenceDraw.drawn_on)))
        silent = select(Timepoint).where(
            Timepoint.code.like("year-%"), Timepoint.ladder_exhausted_on > first_on, Timepoint.answered_on.is_(None)
        )
        rows = session.scalars(silent.where(Timepoint.closes_on < TODAY)).all()
    assert len(rows) >= 10
    assert sum(row.lot_cast_on is not None for row in rows) > 0.7 * len(rows)


def test_the_clinic_draws_searches_and_asks_closely_for_a_while(seeded: Demo) -> None:
    with seeded.runtime.store.reading() as session:
        clinic = the_clinic(session)
        assert clinic.searched_years is not None and clinic.default_plan == "standard@3"
        assert session.scalars(select(SilenceDraw)).all()
        drawn = session.scalars(select(Timepoint).where(Timepoint.drawn_on.is_not(None))).all()
        assert any(row.answered_on is not None for row in drawn)
        [table] = session.scalars(select(InstalledLifeTable))
        assert "Invented" in table.source
    assert CLOSELY < TYPING_BEGAN_DAYS
