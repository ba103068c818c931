"""Which form asks for the preferred shoulder: one a year, of the shoulder operated on last, when both are a year old."""

from datetime import date, timedelta

import pytest

from scoring.library import load_library
from server.schedule.plan import Part
from server.schedule.preference import PREFERENCE, Operated, asks_preference, with_preference

RIGHT, LEFT = Operated(1, "right", date(2018, 5, 2)), Operated(2, "left", date(2021, 3, 10))
OPENS = date(2023, 3, 10)


def asking(*operations: Operated, code: str = "year-2", opens_on: date = OPENS) -> list[int]:
    """The operations whose form, opening that day, asks."""
    return [each.key for each in operations if asks_preference(code, opens_on, each.key, operations)]


def test_only_the_form_of_the_shoulder_operated_on_later_asks() -> None:
    assert asking(RIGHT, LEFT) == asking(LEFT, RIGHT) == [2]


def test_one_operated_shoulder_is_compared_with_none() -> None:
    again = Operated(3, "right", date(2020, 1, 1))
    assert (asking(RIGHT), asking(RIGHT, again)) == ([], [])


def test_both_are_a_year_old_when_the_form_opens_and_not_a_day_younger() -> None:
    year = date(2022, 3, 10)
    assert asking(RIGHT, LEFT, opens_on=year) == [2]
    assert asking(RIGHT, LEFT, opens_on=year - timedelta(days=1)) == []


@pytest.mark.parametrize("code", ["baseline", "week-6", "month-3", "month-18"])
def test_no_form_but_a_yearly_one_asks(code: str) -> None:
    assert asking(RIGHT, LEFT, code=code) == []
    assert asking(RIGHT, LEFT, code="year-7") == [2]


def test_a_revision_of_the_first_shoulder_makes_it_the_later_one_and_starts_the_year_anew() -> None:
    revision = Operated(3, "right", date(2022, 9, 1))
    assert asking(RIGHT, LEFT, revision) == []
    assert asking(RIGHT, LEFT, revision, opens_on=date(2023, 9, 1)) == [3]


def test_an_operation_after_the_form_has_opened_changes_nothing_of_it() -> None:
    assert asking(RIGHT, LEFT, Operated(3, "right", OPENS + timedelta(days=1))) == [2]


def test_of_two_follow_ups_of_the_later_shoulder_one_asks() -> None:
    revision = Operated(3, "left", date(2021, 9, 1))
    assert asking(RIGHT, LEFT, revision) == [3]
    assert asking(RIGHT, LEFT, Operated(3, "left", date(2021, 9, 1), followed=False)) == [2]
    assert asking(RIGHT, Operated(2, "left", date(2021, 3, 10), followed=False)) == []


def test_of_two_operated_on_one_day_the_right_one_asks() -> None:
    assert asking(Operated(1, "left", date(2020, 1, 1)), Operated(2, "right", date(2020, 1, 1))) == [2]


def test_a_day_known_to_its_year_is_a_year_old_when_its_last_possible_day_is() -> None:
    known_to_year = Operated(2, "left", date(2021, 1, 1), "year")
    assert asking(RIGHT, known_to_year, opens_on=date(2022, 12, 30)) == []
    assert asking(RIGHT, known_to_year, opens_on=date(2022, 12, 31)) == [2]


def test_it_comes_last_and_never_twice() -> None:
    parts = (Part("since@2"), Part("pass@1"))
    assert with_preference(parts) == with_preference(with_preference(parts)) == (*parts, PREFERENCE)


def test_the_question_is_one_and_a_form_of_the_project_s_own_that_no_plan_of_the_program_names() -> None:
    library = load_library()
    definition = library.instrument(PREFERENCE.instrument)
    assert (definition.kind, definition.status, definition.side) == ("form", "usable", False)
    assert library.texts(definition.spec)["en"]["items"]["1"]["options"] == {
        "1": "The right one",
        "2": "The left one",
        "0": "No difference",
    }
    named = {
        part["instrument"] for plan in library.plans.values() for each in plan["timepoints"] for part in each["parts"]
    }
    assert PREFERENCE.instrument not in named and "since@2" in named
