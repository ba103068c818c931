"""Which timepoints a follow-up has: one story each."""

from dataclasses import replace
from datetime import date, timedelta

from server.schedule.follow_up_dates import EndReason
from server.schedule.status import Facts, Reason, Standing, Status, standing, status
from server.schedule.timepoints import HORIZON_DAYS, PlannedTimepoint, due_together, horizon, planned_timepoints
from server.schedule.window import WindowState
from tests.schedule.cast import FAR, codes, day, enrolled, standard, timepoints

BASELINE, AGAIN, YEAR_1, YEAR_2 = ("baseline", 1), ("baseline", 2), ("year-1", 1), ("year-2", 1)


def facts_of(planned: PlannedTimepoint, **others: object) -> Facts:
    facts = Facts(planned.opens_on, planned.due_on, planned.closes_on, historical=planned.historical)
    return replace(facts, **others)  # type: ignore[arg-type]


def test_while_the_day_of_surgery_is_unknown_there_is_only_a_baseline_that_does_not_close() -> None:
    course = enrolled("2025-01-10")
    assert codes(course) == ["baseline"]
    baseline = timepoints(course)[BASELINE]
    assert (baseline.opens_on, baseline.due_on) == (day("2025-01-10"), day("2025-01-24"))
    assert (baseline.closes_on, baseline.anchor_on) == (None, None)


def test_a_planned_day_makes_no_timepoint_after_surgery() -> None:
    course = enrolled("2025-01-10", surgery_planned_on="2025-02-01")
    assert codes(course) == ["baseline"]
    assert timepoints(course)[BASELINE].closes_on is None


def test_the_baseline_is_due_by_the_day_of_surgery_when_that_is_near() -> None:
    assert timepoints(enrolled("2025-01-10", surgery_planned_on="2025-01-15"))[BASELINE].due_on == day("2025-01-15")


def test_surgery_that_is_moved_keeps_the_baseline_open_and_leaves_nothing_else_behind() -> None:
    planned = enrolled("2025-01-10", surgery_planned_on="2025-02-01")
    moved = replace(planned, surgery_planned_on=day("2025-03-20"))
    assert codes(moved) == ["baseline"]
    baseline = timepoints(moved)[BASELINE]
    assert (baseline.opens_on, baseline.closes_on) == (day("2025-01-10"), None)
    assert baseline.anchor_on == day("2025-03-20")


def test_once_surgery_is_done_the_baseline_closes_that_day_and_the_years_are_counted_from_it() -> None:
    found = timepoints(enrolled("2025-01-10", surgery_planned_on="2025-02-01", surgery_on="2025-03-20"))
    assert found[BASELINE].closes_on == day("2025-03-20")
    assert found[YEAR_1].anchor_on == found[YEAR_1].due_on == day("2026-03-20")
    assert found[("year-10", 1)].anchor_on == day("2035-03-20")


def test_surgery_on_29_february_is_followed_up_in_every_year_and_on_the_29th_again_in_leap_years() -> None:
    found = timepoints(enrolled("2024-02-01", surgery_on="2024-02-29"))
    assert found[YEAR_1].anchor_on == day("2025-02-28")
    assert found[("year-4", 1)].anchor_on == day("2028-02-29")
    assert found[("year-5", 1)].anchor_on == day("2029-02-28")


def test_cancelled_surgery_ends_the_follow_up_and_excuses_the_open_baseline() -> None:
    course = enrolled("2025-01-10", surgery_planned_on="2025-03-01", cancelled_on="2025-02-10", baseline_asked=1)
    assert course.end == (day("2025-02-10"), EndReason.CANCELLED)
    assert codes(course) == ["baseline"]
    ended_on, reason = course.end
    facts = facts_of(timepoints(course)[BASELINE], not_expected_on=ended_on, not_expected_reason=reason)
    assert status(facts, day("2025-02-09")) == Status.OVERDUE
    assert status(facts, day("2025-02-10")) == Status.NOT_EXPECTED


def test_a_baseline_over_90_days_old_by_the_planned_day_is_asked_again_before_surgery() -> None:
    course = enrolled(
        "2025-01-10", surgery_planned_on="2025-06-01", baseline_answered_on=(day("2025-01-12"),), baseline_asked=1
    )
    found = timepoints(course)
    assert list(found) == [BASELINE, AGAIN]
    assert found[AGAIN].opens_on == day("2025-06-01") - timedelta(days=90)
    assert found[AGAIN].closes_on is None
    done = timepoints(replace(course, surgery_on=day("2025-06-01"), baseline_asked=2))
    assert done[AGAIN].closes_on == day("2025-06-01")


def test_a_baseline_90_days_old_is_not_asked_again() -> None:
    answered = (day("2025-01-12"),)
    course = enrolled("2025-01-10", surgery_planned_on="2025-04-12", baseline_answered_on=answered)
    assert codes(course) == ["baseline"]


def test_a_baseline_asked_again_is_asked_a_third_time_when_surgery_moves_far_once_more() -> None:
    answered = (day("2025-01-12"), day("2025-03-10"))
    course = enrolled("2025-01-10", surgery_planned_on="2025-09-01", baseline_answered_on=answered, baseline_asked=2)
    assert ("baseline", 3) in timepoints(course)
    assert ("baseline", 3) not in timepoints(replace(course, surgery_planned_on=day("2025-06-01")))


def test_a_baseline_asked_again_and_not_yet_answered_is_not_asked_once_more() -> None:
    answered = (day("2025-01-12"),)
    course = enrolled("2025-01-10", surgery_planned_on="2025-09-01", baseline_answered_on=answered, baseline_asked=2)
    assert list(timepoints(course)) == [BASELINE, AGAIN]


def test_nothing_is_asked_again_once_surgery_is_done_or_the_follow_up_has_ended() -> None:
    answered = (day("2025-01-12"),)
    course = enrolled("2025-01-10", surgery_planned_on="2025-09-01", baseline_answered_on=answered)
    assert AGAIN not in timepoints(replace(course, surgery_on=day("2025-09-01")))
    assert AGAIN not in timepoints(replace(course, cancelled_on=day("2025-05-01")))


def test_two_shoulders_operated_on_one_day_are_two_follow_ups_that_can_be_asked_in_one_go() -> None:
    left = enrolled("2025-01-10", surgery_on="2025-02-01")
    right = replace(left, surgery_on=day("2025-02-08"))
    by_side = {
        side: planned_timepoints(standard(), course, until=FAR) for side, course in (("right", right), ("left", left))
    }
    together = due_together({"right": by_side["right"], "left": by_side["left"]}, day("2025-03-10"))
    assert together == {"week-6": ("left", "right")}
    alone = due_together({"right": by_side["right"], "left": by_side["left"]}, day("2025-03-03"))
    assert alone == {"week-6": ("left",)}


def test_after_an_end_the_timepoints_go_on_and_are_not_expected_with_its_reason() -> None:
    course = enrolled("2023-01-10", surgery_on="2023-02-01")
    died_on = day("2025-01-15")  # inside the second year's window
    dead = replace(course, ended_on=died_on, end_reason=EndReason.DIED)
    assert codes(dead) == codes(course)
    found, end = timepoints(dead), {"not_expected_on": died_on, "not_expected_reason": EndReason.DIED}
    years = [found[(f"year-{year}", 1)] for year in (2, 3, 10)]
    assert {standing(facts_of(each, **end), died_on) for each in years} == {
        Standing(Status.NOT_EXPECTED, Reason.DIED, died_on)
    }


def test_an_end_leaves_what_was_answered_before_it_and_what_had_been_missed() -> None:
    died_on = day("2025-01-15")
    end = {"not_expected_on": died_on, "not_expected_reason": EndReason.DIED}
    found = timepoints(enrolled("2023-01-10", surgery_on="2023-02-01"))
    answered = facts_of(found[YEAR_2], answered_on=day("2025-01-15"), answered_state=WindowState.IN, **end)
    assert status(answered, day("2026-01-01")) == Status.ANSWERED
    missed = facts_of(found[YEAR_1], asked_on=found[YEAR_1].invites_on, **end)
    assert status(missed, day("2026-01-01")) == Status.MISSED


def test_surgery_decades_before_enrolment_makes_every_row_and_nobody_miss_anything() -> None:
    course = enrolled("2025-08-21", surgery_on="1994-02-20")  # the 31st year's window closed two days before
    found = timepoints(course, until=day("2027-01-01"))
    assert [code for code, _ in found][-3:] == ["year-31", "year-32", "year-33"]
    before = [each for each in found.values() if each.historical]
    assert [each.code for each in before] == ["baseline", "week-6", *(f"year-{year}" for year in range(1, 32))]
    assert {standing(facts_of(each), course.started_on).reason for each in before} == {Reason.ENROLLED_LATER}
    assert all(each.invites_on >= course.started_on for each in found.values() if not each.historical)


def test_a_window_that_is_open_at_the_start_invites_on_that_day_and_leaves_two_weeks() -> None:
    course = enrolled("2025-05-05", surgery_on="1994-03-20")
    first = timepoints(course)[("year-31", 1)]
    assert first.opens_on < course.started_on
    assert (first.invites_on, first.due_on) == (day("2025-05-05"), day("2025-05-19"))
    assert first.closes_on == day("2025-03-20") + timedelta(days=180)


def test_a_window_about_to_close_at_the_start_is_due_on_its_last_day() -> None:
    first = timepoints(enrolled("2025-05-02", surgery_on="2024-03-05"))[YEAR_1]
    assert (first.invites_on, first.due_on, first.closes_on) == (
        day("2025-05-02"),
        day("2025-05-04"),
        day("2025-05-04"),
    )


def test_a_window_on_its_last_day_at_the_start_is_still_asked_and_one_that_closed_the_day_before_is_not() -> None:
    last_day = timepoints(enrolled("2025-05-04", surgery_on="2024-03-05"))[YEAR_1]
    assert last_day.invites_on == last_day.due_on == last_day.closes_on == day("2025-05-04")
    assert not last_day.historical
    assert timepoints(enrolled("2025-05-05", surgery_on="2024-03-05"))[YEAR_1].historical


def test_what_closed_before_the_start_is_marked_as_historical() -> None:
    found = timepoints(enrolled("2025-05-05", surgery_on="2019-02-20"))
    past = [code for (code, _), each in found.items() if each.historical]
    assert past == ["baseline", "week-6", "year-1", "year-2", "year-3", "year-4", "year-5"]
    assert found[BASELINE].opens_on == found[BASELINE].closes_on == day("2019-02-20")


def test_rows_reach_400_days_ahead_so_that_the_next_year_is_always_among_them() -> None:
    assert horizon(date(2025, 1, 1)) - date(2025, 1, 1) == timedelta(days=HORIZON_DAYS) == timedelta(days=400)
    course = enrolled("2025-01-10", surgery_on="2025-02-01")
    assert codes(course, until=horizon(day("2025-02-01"))) == ["baseline", "week-6", "year-1"]


def test_a_plan_without_baseline_begins_after_surgery() -> None:
    plan = replace(standard(), before=None)
    assert planned_timepoints(plan, enrolled("2025-01-10"), until=FAR) == []


def test_a_timepoint_carries_its_form_and_the_plan_it_comes_from() -> None:
    week_6 = timepoints(enrolled("2025-01-10", surgery_on="2025-02-01"))[("week-6", 1)]
    assert [part.instrument for part in week_6.parts] == ["early@1", "pain@1", "pass@1"]
    assert (week_6.minutes, week_6.plan) == (2, "standard@1")
    assert dict(week_6.title)["es"]
