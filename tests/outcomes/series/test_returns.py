"""Weeks to work, sport and driving: each who did it before is one event, and nobody is counted as waiting who never waits."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

import pytest

from server.outcomes.arithmetic.interval_causes import NOT_YET, Event
from server.outcomes.series.followed import Followed
from server.outcomes.series.returns import ACTIVITIES, BACK, WILL_NOT, Returned, Told, returned
from server.outcomes.series.waiting_times import DAY_0, DIED, REVISED, WaitingTimes
from tests.outcomes.series.followed_case import SURGERY, later, point, shoulder

YES, NO, NOT_AGAIN, NOT_BEFORE = 1, 0, 2, 3


def told(week: float, code: int | None, weeks: int | None = None) -> Told:
    """Of work, in the week after surgery; None where it was not answered."""
    codes = {} if code is None else {"work": code}
    return Told(SURGERY + timedelta(days=round(7 * week)), codes, {} if weeks is None else {"work": weeks})


def of_one(*answers: Told, **values: Any) -> Returned:
    """The next planned look is that of the first year."""
    return returned([(shoulder(point(1), **values), answers)], "work")


def event(*answers: Told, **values: Any) -> Event:
    (found,) = of_one(*answers, **values).times.events
    return found


@pytest.mark.parametrize(
    ("answers", "expected"),
    [
        ([told(13, YES, 10)], Event(BACK, 10, 10)),
        ([told(26, YES, 20), told(13, NO)], Event(BACK, 20, 20)),  # in whatever order they are read
        ([told(13, YES)], Event(BACK, 0, 13)),
        ([told(13, NO), told(26, YES)], Event(BACK, 13, 26)),
        ([told(13, NO), told(26, YES, 13)], Event(BACK, 13, 13)),
        ([told(13, YES, 0)], Event(BACK, DAY_0, DAY_0)),
        ([told(13, YES, 10), told(26, NO)], Event(BACK, 10, 10)),  # once back is back
        ([told(13, NO), told(26, NO)], Event(NOT_YET, 26)),
        ([told(13, NO), told(26, None)], Event(NOT_YET, 13)),
        ([told(13, NO), told(26, NOT_AGAIN)], Event(WILL_NOT, 13, 26)),
        ([told(13, NOT_AGAIN)], Event(WILL_NOT, 0, 13)),
        ([told(13, NO), told(26, NOT_BEFORE)], Event(NOT_YET, 13)),
    ],
)  # fmt: skip
def test_what_was_told_is_one_event(answers: Sequence[Told], expected: Event) -> None:
    found = of_one(*answers)
    assert found.times.events == (expected,) and found.told_otherwise == 0


@pytest.mark.parametrize("weeks", [5, 30])
def test_a_week_that_their_own_looks_rule_out_is_told_and_not_used(weeks: int) -> None:
    found = of_one(told(13, NO), told(26, YES, weeks))
    assert found.times.events == (Event(BACK, 13, 26),) and found.told_otherwise == 1


def test_who_did_not_work_before_is_counted_apart_and_so_is_who_did_not_answer() -> None:
    asked = [
        (shoulder(), [told(13, NOT_BEFORE), told(26, YES, 20)]),
        (shoulder(), [told(13, None)]), (shoulder(), []), (shoulder(), [told(13, NO)]),
    ]  # fmt: skip
    found = returned(asked, "work")
    assert (found.asked, found.did_not, found.unanswered, found.times.count(NOT_YET)) == (4, 1, 2, 1)
    assert found.failed_sums() == []
    assert [returned(asked, activity).unanswered for activity in ACTIVITIES] == [2, 4, 4]


def test_a_revision_and_a_death_end_the_wait_on_their_day() -> None:
    revised_on, died = SURGERY + timedelta(weeks=20), SURGERY + timedelta(weeks=30)
    assert event(told(13, NO), later=(later(revised_on),)) == Event(REVISED, 20, 20)
    assert event(told(13, NO), died=died) == Event(DIED, 30, 30)
    assert event(told(13, NO), later=(later(revised_on),), died=died) == Event(REVISED, 20, 20)
    assert event(told(13, NO), later=(later(revised_on),), died=revised_on) == Event(REVISED, 20, 20)
    assert event(told(13, YES, 9), died=died) == Event(BACK, 9, 9)


def test_what_happened_after_a_look_that_passed_in_silence_ended_no_wait_that_anybody_knows_of() -> None:
    """The year closes in week 65: whoever died later may have gone back to work long before."""
    closes = point(1).closes_on
    assert closes is not None
    for on, expected in ((closes, DIED), (closes + timedelta(days=1), NOT_YET), (date(2025, 3, 1), NOT_YET)):
        assert event(told(12, NO), died=on).cause == expected
        assert event(told(12, NO), later=(later(on),)).cause == (NOT_YET if expected == NOT_YET else REVISED)


def test_who_dies_ten_years_later_leaves_the_share_as_it_was() -> None:
    back = [(shoulder(point(1)), [told(20, YES, 20)]) for _each in range(20)]
    waiting = [(shoulder(point(1), died=date(2025, 3, 1)), [told(12, NO)]) for _each in range(20)]
    assert returned([*back, *waiting], "work").times.share_by(52) == pytest.approx((1, 1))


def test_what_is_answered_after_a_revision_tells_of_another_implant() -> None:
    revised_on = SURGERY + timedelta(weeks=20)
    assert event(told(13, NO), told(26, YES, 25), later=(later(revised_on),)) == Event(REVISED, 20, 20)
    assert of_one(told(26, YES, 25), later=(later(revised_on),)).unanswered == 1


def test_nobody_asked_is_nobody() -> None:
    found = returned([], "sport")
    assert (found.asked, found.times.events, found.times.steps, found.failed_sums()) == (0, (), (), [])
    assert found.times.quantile(0.5) is None and found.times.share_by(52) == (0, 0)


def times(*events: Event) -> WaitingTimes:
    return WaitingTimes(events, BACK)


def test_between_two_looks_a_share_is_known_from_at_least_to_at_most() -> None:
    """Three exact of six, two between 6 and 13, one who will not: by week 10 three of six for certain, and up to five."""
    found = times(*(Event(BACK, week, week) for week in (4, 4, 5)), *[Event(BACK, 6, 13)] * 2, Event(WILL_NOT, 0, 26))
    assert [(step.left, step.right) for step in found.steps] == [(4, 4), (5, 5), (6, 13)]
    assert found.share_by(4) == pytest.approx((2 / 6, 2 / 6))
    assert found.share_by(10) == pytest.approx((3 / 6, 5 / 6))
    assert found.share_by(13) == pytest.approx((5 / 6, 5 / 6))
    assert found.quantile(0.5) == (5, 5) and found.quantile(0.75) == (6, 13)
    assert found.quantile(0.9) is None


def test_who_still_waits_is_counted_until_they_were_last_heard_of() -> None:
    found = times(Event(BACK, 6, 13), Event(NOT_YET, 13), Event(DIED, 20, 20))
    assert [found.waiting(week) for week in (0, 13, 14, 20, 21)] == [3, 3, 1, 1, 0]


def test_ties_at_zero_and_everybody_censored_have_no_share_to_tell() -> None:
    assert times(*[Event(BACK, DAY_0, DAY_0)] * 5).share_by(1) == (1, 1)
    nobody_yet = times(*[Event(NOT_YET, 10)] * 5)
    assert nobody_yet.steps == () and nobody_yet.share_by(52) == (0, 0)


def test_everyone_dead_is_nobody_back() -> None:
    found = returned([(shoulder(point(1), died=date(2015, 4, 1)), [told(2, NO)]) for _each in range(5)], "work")
    assert found.times.count(DIED) == 5 and found.times.steps == ()


def test_a_shoulder_is_followed_from_its_own_surgery() -> None:
    surgery_on = date(2020, 2, 29)
    one: Followed = shoulder(surgery_on=surgery_on)
    answer = Told(surgery_on + timedelta(weeks=13), {"work": NO}, {})
    assert returned([(one, [answer])], "work").times.events == (Event(NOT_YET, 13),)
