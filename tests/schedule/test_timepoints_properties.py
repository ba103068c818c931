"""What holds for the timepoints of any follow-up."""

from datetime import date, timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from server.schedule.dates import anniversary
from server.schedule.follow_up_dates import FollowUpDates
from server.schedule.timepoint_code import TimepointCode
from server.schedule.timepoints import horizon, next_look_ahead, planned_timepoints
from tests.schedule.cast import FAR, days, follow_up_dates, standard

untils = st.dates(date(1985, 1, 1), date(2080, 1, 1))


@given(dates=follow_up_dates())
def test_every_timepoint_opens_invites_is_due_and_closes_in_this_order(dates: FollowUpDates) -> None:
    planned = planned_timepoints(standard(), dates, until=FAR)
    assert [
        each
        for each in planned
        if not each.opens_on <= each.invites_on <= each.due_on or (each.closes_on and each.due_on > each.closes_on)
    ] == []


@given(surgery_on=days)
def test_windows_after_surgery_never_overlap_so_that_an_answer_belongs_to_one(surgery_on: date) -> None:
    windows = [entry.window(surgery_on) for entry in standard().after]
    assert all(first.closes_on < second.opens_on for first, second in pairwise(windows))


@given(dates=follow_up_dates())
def test_every_year_is_counted_from_the_surgery_date(dates: FollowUpDates) -> None:
    planned = planned_timepoints(standard(), dates, until=FAR)
    years = {year: each.anchor_on for each in planned if (year := TimepointCode.parse(each.code).year) is not None}
    assert dates.surgery_on is not None or not years
    assert years == {year: anniversary(dates.surgery_on, year) for year in years if dates.surgery_on is not None}


@given(dates=follow_up_dates(), sooner=untils, later=untils)
def test_a_later_until_only_adds(dates: FollowUpDates, sooner: date, later: date) -> None:
    sooner, later = min(sooner, later), max(sooner, later)
    few = planned_timepoints(standard(), dates, until=sooner)
    many = planned_timepoints(standard(), dates, until=later)
    assert many[: len(few)] == few
    assert all(each.opens_on > sooner for each in many[len(few) :])


@given(dates=follow_up_dates())
def test_the_same_dates_give_the_same_timepoints_each_code_and_attempt_once(dates: FollowUpDates) -> None:
    first = planned_timepoints(standard(), dates, until=FAR)
    assert first == planned_timepoints(standard(), dates, until=FAR)
    assert len({(each.code, each.attempt) for each in first}) == len(first)


@given(dates=follow_up_dates())
def test_every_planned_timepoint_of_a_surgery_that_is_done_is_made_whatever_has_ended(dates: FollowUpDates) -> None:
    made = planned_timepoints(standard(), dates, until=FAR)
    after = [each.code for each in made if each.code != "baseline"]
    assert after == ([entry.code for entry in standard().after] if dates.surgery_on is not None else [])
    assert [each.attempt for each in made if each.code == "baseline"][:1] == [1]


@given(dates=follow_up_dates())
def test_historical_is_exactly_what_closed_before_the_start(dates: FollowUpDates) -> None:
    made = planned_timepoints(standard(), dates, until=FAR)
    start = {True: max(dates.enrolled_on, dates.started_on), False: dates.started_on}
    closed = [each.closes_on is not None and each.closes_on < start[each.code == "baseline"] for each in made]
    assert [each.historical for each in made] == closed


@given(dates=follow_up_dates(), today=untils)
def test_the_day_to_look_ahead_is_the_first_on_which_a_row_is_added(dates: FollowUpDates, today: date) -> None:
    again = next_look_ahead(planned_timepoints(standard(), dates, until=date.max), today)
    now = planned_timepoints(standard(), dates, until=horizon(today))
    if again is None:
        assert planned_timepoints(standard(), dates, until=date(2200, 1, 1)) == now
        return
    assert again > today
    assert planned_timepoints(standard(), dates, until=horizon(again - timedelta(days=1))) == now
    assert len(planned_timepoints(standard(), dates, until=horizon(again))) > len(now)


@given(dates=follow_up_dates())
def test_every_attempt_of_the_baseline_that_was_put_before_the_patient_stays_and_at_most_one_is_added(
    dates: FollowUpDates,
) -> None:
    made = planned_timepoints(standard(), dates, until=FAR)
    attempts = sorted(each.attempt for each in made if each.code == "baseline")
    seen = max(dates.baseline_asked, len(dates.baseline_answered_on))
    assert attempts in (list(range(1, seen + 1)), list(range(1, seen + 2)))


@given(dates=follow_up_dates())
def test_a_further_baseline_opens_after_the_answer_before_it_and_in_time_not_to_be_early(dates: FollowUpDates) -> None:
    made = planned_timepoints(standard(), dates, until=FAR)
    added = [each for each in made if each.code == "baseline" and each.attempt == len(dates.baseline_answered_on) + 1]
    planned_on = None if dates.surgery_on is not None else dates.surgery_planned_on
    further = [each for each in added if each.attempt > 1] if planned_on is not None else []
    assert [each for each in further if each.opens_on <= dates.baseline_answered_on[-1]] == []
    assert [each for each in further if planned_on and each.opens_on < planned_on - timedelta(days=90)] == []
