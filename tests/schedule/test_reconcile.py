"""What becomes of kept timepoints when dates or plan change."""

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from server.schedule.follow_up_dates import EndReason, FollowUpDates
from server.schedule.plan import Plan
from server.schedule.reconcile import Changes, Existing, reconcile
from server.schedule.timepoints import horizon, planned_timepoints
from tests.schedule.cast import FAR, applied, day, enrolled, follow_up_dates, kept, standard


def changes(rows: list[Existing], dates: FollowUpDates, today: date, plan: Plan | None = None) -> Changes:
    planned = planned_timepoints(plan or standard(), dates, until=horizon(today))
    return reconcile(rows, planned, today=today)


def rows_of(dates: FollowUpDates, today: date, **facts: bool) -> list[Existing]:
    made = changes([], dates, today).create
    return [kept(each, **facts) for each in made]


def keys(rows: tuple[Existing, ...]) -> list[str]:
    return [row.code for row in rows]


def test_enrolment_creates_the_baseline_and_surgery_done_the_rest_within_the_horizon() -> None:
    dates = enrolled("2025-01-10", surgery_planned_on="2025-02-01")
    rows = rows_of(dates, day("2025-01-10"))
    assert keys(tuple(rows)) == ["baseline"]
    done = changes(rows, replace(dates, surgery_on=day("2025-02-03")), day("2025-02-03"))
    assert [each.code for each in done.create] == ["week-6", "year-1"]
    assert [(move.existing.code, move.to.closes_on) for move in done.move] == [("baseline", day("2025-02-03"))]


def test_surgery_that_is_moved_moves_the_due_day_of_an_unanswered_baseline_even_when_it_was_asked() -> None:
    dates = enrolled("2025-01-10", surgery_planned_on="2025-01-14")
    rows = rows_of(dates, day("2025-01-10"), asked=True)
    (move,) = changes(rows, replace(dates, surgery_planned_on=day("2025-03-01")), day("2025-01-13")).move
    assert (move.to.due_on, move.to.closes_on) == (day("2025-01-24"), None)
    assert (move.to.opens_on, move.to.invites_on) == (rows[0].opens_on, rows[0].invites_on)


def test_an_answered_baseline_keeps_its_opening_when_surgery_moves_and_is_due_with_it() -> None:
    dates = enrolled("2025-01-10", surgery_planned_on="2025-01-14")
    rows = rows_of(dates, day("2025-01-10"), asked=True, answered=True)
    moved = replace(dates, surgery_planned_on=day("2025-03-01"), baseline_answered_on=(day("2025-01-11"),))
    (move,) = changes(rows, moved, day("2025-01-13")).move
    assert (move.to.anchor_on, move.to.opens_on) == (day("2025-03-01"), rows[0].opens_on)


def test_a_surgery_date_put_right_moves_every_window_also_what_was_answered_asked_or_has_closed() -> None:
    dates = enrolled("2024-01-10", surgery_on="2024-02-01")
    baseline, week_6, year_1 = rows_of(dates, day("2024-02-01"))
    rows = [replace(baseline, answered=True), replace(week_6, asked=True), replace(year_1, answered=True)]
    found = changes(rows, replace(dates, surgery_on=day("2024-02-11")), day("2026-03-15"))
    assert [(move.existing.code, move.to.anchor_on) for move in found.move] == [
        ("baseline", day("2024-02-11")),
        ("week-6", day("2024-02-11")),
        ("year-1", day("2025-02-11")),
    ]
    assert (found.kept, found.withdraw) == ((), ())


def test_a_baseline_that_was_asked_never_opens_after_the_day_on_which_surgery_turns_out_to_have_been() -> None:
    rows = rows_of(enrolled("2025-01-10"), day("2025-01-10"), asked=True)
    (move,) = changes(rows, enrolled("2025-01-10", surgery_on="2025-01-05"), day("2025-01-14")).move
    assert (move.to.opens_on, move.to.due_on, move.to.closes_on) == (day("2025-01-05"),) * 3


def test_a_surgery_entered_as_done_by_mistake_takes_its_timepoints_back_and_opens_the_baseline_again() -> None:
    dates = enrolled("2024-01-10", surgery_planned_on="2024-03-01")
    wrong = replace(dates, surgery_on=day("2024-02-01"))
    found = changes(rows_of(wrong, day("2024-02-01")), dates, day("2024-02-05"))
    assert keys(found.withdraw) == ["week-6", "year-1"]
    assert [(move.existing.code, move.to.closes_on) for move in found.move] == [("baseline", None)]


def test_an_end_changes_no_row_and_neither_does_taking_it_back() -> None:
    dates = enrolled("2024-01-10", surgery_on="2024-02-01")
    rows = rows_of(dates, day("2024-02-01"))
    died = replace(dates, ended_on=day("2024-03-05"), end_reason=EndReason.DIED)
    assert not changes(rows, died, day("2024-02-20"))
    assert [each.code for each in changes(rows, died, day("2025-02-20")).create] == ["year-2"], "rows go on"


def test_a_new_plan_replaces_only_what_has_not_opened() -> None:
    dates = enrolled("2024-01-10", surgery_on="2024-02-01")
    today = day("2024-03-05")  # six weeks are open, not yet invited
    rows = rows_of(dates, day("2024-02-01"))
    second = replace(standard(), version="2")
    found = changes(rows, dates, today, second)
    assert [(move.existing.code, move.to.plan) for move in found.move] == [("year-1", "standard@2")]
    assert not found.withdraw


def test_a_new_plan_without_a_timepoint_withdraws_it_only_if_it_has_not_opened() -> None:
    dates = enrolled("2024-01-10", surgery_on="2024-02-01")
    rows = rows_of(dates, day("2024-02-01"))
    second = replace(standard(), version="2", after=())
    assert keys(changes(rows, dates, day("2024-02-20"), second).withdraw) == ["week-6", "year-1"]
    open_now = changes(rows, dates, day("2024-02-29"), second)  # the day it opens
    assert keys(open_now.withdraw) == ["year-1"]
    assert "week-6" in keys(open_now.kept)


def test_nobody_is_overdue_for_what_was_entered_late() -> None:
    dates = enrolled("2024-01-10", surgery_on="2024-02-01")
    today = day("2024-03-20")  # surgery is entered seven weeks after it was done
    week_6 = next(each for each in changes([], dates, today).create if each.code == "week-6")
    assert (week_6.invites_on, week_6.due_on) == (today, day("2024-04-03"))
    assert (week_6.opens_on, week_6.closes_on) == (day("2024-02-29"), day("2024-04-04"))


def test_what_is_moved_after_its_day_of_inviting_invites_today_unless_it_was_asked() -> None:
    dates = enrolled("2024-01-10", surgery_on="2024-02-01")
    rows = rows_of(dates, day("2024-02-01"))
    earlier = replace(dates, surgery_on=day("2024-01-29"))
    week_6 = next(move.to for move in changes(rows, earlier, day("2024-03-20")).move if move.existing.code == "week-6")
    assert (week_6.opens_on, week_6.invites_on) == (day("2024-02-26"), day("2024-03-20"))


def test_surgery_brought_forward_makes_an_asked_baseline_due_and_closed_on_that_day() -> None:
    rows = rows_of(enrolled("2025-01-10"), day("2025-01-10"), asked=True)
    (move,) = changes(rows, enrolled("2025-01-10", surgery_on="2025-01-14"), day("2025-01-14")).move
    assert move.to.due_on == move.to.closes_on == day("2025-01-14")


def test_a_baseline_asked_again_late_invites_today() -> None:
    answered = (day("2025-01-12"),)
    dates = enrolled("2025-01-10", surgery_planned_on="2025-05-01", baseline_answered_on=answered, baseline_asked=1)
    rows = rows_of(enrolled("2025-01-10"), day("2025-01-10"), asked=True, answered=True)
    (again,) = changes(rows, dates, day("2025-04-20")).create
    assert (again.attempt, again.invites_on, again.due_on) == (2, day("2025-04-20"), day("2025-05-01"))


def test_a_series_decades_old_gets_every_row_and_what_was_entered_of_it_finds_its_own() -> None:
    dates = enrolled("2025-08-21", surgery_on="1994-02-20")
    created = changes([], dates, day("2025-08-21")).create
    assert [each.code for each in created if not each.historical] == ["year-32", "year-33"]
    assert len(created) == 2 + 33
    entered = [kept(each, answered=True) for each in created if each.code in ("year-1", "year-2")]
    again = changes(entered, dates, day("2025-08-21"))
    assert (again.kept, again.move, len(again.create)) == ((), (), 33)


@st.composite
def kept_rows(draw: st.DrawFn) -> tuple[list[Existing], date]:
    """Rows of any earlier dates and plan, some answered, some asked; and a day."""
    before = draw(follow_up_dates())
    today = before.enrolled_on + timedelta(days=draw(st.integers(0, 3000)))
    plan = draw(st.sampled_from([standard(), replace(standard(), version="0")]))
    planned = planned_timepoints(plan, before, until=horizon(today))
    rows = [kept(each, answered=draw(st.booleans()), asked=draw(st.booleans())) for each in planned[-8:]]
    return rows, today


@given(start=kept_rows(), dates=follow_up_dates())
def test_applying_the_changes_leaves_nothing_to_do(start: tuple[list[Existing], date], dates: FollowUpDates) -> None:
    rows, today = start
    first = changes(rows, dates, today)
    assert not changes(applied(rows, first), dates, today)


@given(start=kept_rows(), dates=follow_up_dates())
def test_nor_is_there_anything_to_do_on_the_next_day_but_to_reach_further(
    start: tuple[list[Existing], date], dates: FollowUpDates
) -> None:
    rows, today = start
    after = applied(rows, changes(rows, dates, today))
    tomorrow = today + timedelta(days=1)
    later = changes(after, dates, tomorrow)
    assert not later.move
    assert not later.withdraw
    assert all(each.opens_on == horizon(tomorrow) for each in later.create)


@given(start=kept_rows(), dates=follow_up_dates())
def test_nothing_answered_closed_or_asked_is_ever_withdrawn(
    start: tuple[list[Existing], date], dates: FollowUpDates
) -> None:
    rows, today = start
    gone = changes(rows, dates, today).withdraw
    assert [row for row in gone if row.answered or row.asked or (row.closes_on or today) < today] == []


@given(start=kept_rows(), dates=follow_up_dates())
def test_afterwards_every_row_of_the_plan_is_counted_from_the_surgery_date(
    start: tuple[list[Existing], date], dates: FollowUpDates
) -> None:
    rows, today = start
    found = changes(rows, dates, today)
    planned = {(each.code, each.attempt): each for each in planned_timepoints(standard(), dates, until=horizon(today))}
    after = [row for row in applied(rows, found) if row.key in planned and row not in found.kept]
    assert [row for row in after if row.anchor_on != planned[row.key].anchor_on] == []


@given(start=kept_rows(), dates=follow_up_dates())
def test_every_row_ends_up_opening_inviting_due_and_closing_in_this_order(
    start: tuple[list[Existing], date], dates: FollowUpDates
) -> None:
    rows, today = start
    in_order = [
        row.opens_on <= row.invites_on <= row.due_on and (row.closes_on is None or row.due_on <= row.closes_on)
        for row in applied(rows, changes(rows, dates, today))
    ]
    assert all(in_order)  # none at all is a start that the plan asks nothing of


@given(dates=follow_up_dates())
def test_a_fresh_follow_up_gets_what_is_planned_within_the_horizon(dates: FollowUpDates) -> None:
    today = dates.enrolled_on
    created = {(each.code, each.attempt) for each in changes([], dates, today).create}
    planned = planned_timepoints(standard(), dates, until=FAR)
    assert created == {(each.code, each.attempt) for each in planned if each.opens_on <= horizon(today)}
