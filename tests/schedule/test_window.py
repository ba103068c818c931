"""Where an answer lies, and when it was given."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.schedule.dates import local_day
from server.schedule.window import WindowState, baseline_state, clamp_finished, window_state
from tests.schedule.cast import day

instants = st.timedeltas(timedelta(0), timedelta(days=20000)).map(datetime(2000, 1, 1, tzinfo=UTC).__add__)
FETCHED, RECEIVED = datetime(2025, 3, 1, 9, tzinfo=UTC), datetime(2025, 3, 8, 9, tzinfo=UTC)


@pytest.mark.parametrize(
    ("finished", "state"),
    [
        ("2025-02-28", WindowState.EARLY),
        ("2025-03-01", WindowState.IN),
        ("2025-04-30", WindowState.IN),
        ("2025-05-01", WindowState.LATE),
    ],
)
def test_opening_and_closing_day_are_inside_the_window(finished: str, state: WindowState) -> None:
    assert window_state(day(finished), opens_on=day("2025-03-01"), closes_on=day("2025-04-30")) == state


def test_a_form_outside_the_plan_is_off_schedule() -> None:
    assert window_state(day("2025-03-01"), opens_on=None, closes_on=None) == WindowState.OFF_SCHEDULE


def test_an_answer_after_the_follow_up_ended_is_off_schedule_and_one_on_that_day_is_not() -> None:
    opens, closes, ended = day("2025-03-01"), day("2025-04-30"), day("2025-04-01")

    def state(on: str) -> WindowState:
        return window_state(day(on), opens_on=opens, closes_on=closes, not_expected_on=ended)

    assert state("2025-04-01") == WindowState.IN
    assert state("2025-04-02") == WindowState.OFF_SCHEDULE
    assert state("2025-06-01") == WindowState.OFF_SCHEDULE


def test_an_answer_to_a_window_that_closed_before_the_follow_up_ended_is_late() -> None:
    state = window_state(
        day("2025-08-01"), opens_on=day("2025-03-01"), closes_on=day("2025-04-30"), not_expected_on=day("2025-07-01")
    )
    assert state == WindowState.LATE


@pytest.mark.parametrize(
    ("finished", "state"),
    [
        ("2025-01-29", WindowState.EARLY),  # 91 days before
        ("2025-01-30", WindowState.IN),  # 90 days before
        ("2025-04-30", WindowState.IN),
        ("2025-05-01", WindowState.RECALLED),
    ],
)
def test_a_baseline_is_early_over_90_days_before_surgery_and_recalled_after_it(
    finished: str, state: WindowState
) -> None:
    assert baseline_state(day(finished), surgery_on=day("2025-04-30"), early_over_days=90) == state


def test_a_baseline_is_neither_early_nor_recalled_while_surgery_is_unknown() -> None:
    assert baseline_state(day("2020-01-01"), surgery_on=None, early_over_days=90) == WindowState.IN


@given(finished=instants, fetched=st.none() | instants, received=instants)
def test_a_form_is_finished_between_fetch_and_receipt_whatever_the_phone_says(
    finished: datetime, fetched: datetime | None, received: datetime
) -> None:
    clamped = clamp_finished(finished, fetched, received)
    assert clamped <= received
    if fetched is not None and fetched <= received:
        assert clamped >= fetched
    if (fetched is None or fetched <= finished) and finished <= received:
        assert clamped == finished


def test_a_phone_a_year_ahead_or_behind_is_brought_back_between_fetch_and_receipt() -> None:
    year = timedelta(days=365)
    assert clamp_finished(RECEIVED + year, FETCHED, RECEIVED) == RECEIVED
    assert clamp_finished(FETCHED - year, FETCHED, RECEIVED) == FETCHED


def test_a_phone_whose_error_was_measured_is_put_right_first() -> None:
    ahead = timedelta(days=365)
    finished = datetime(2025, 3, 4, 20, tzinfo=UTC)
    skew = ahead // timedelta(milliseconds=1)
    assert clamp_finished(finished + ahead, FETCHED, RECEIVED, clock_skew_ms=skew) == finished
    assert clamp_finished(finished, FETCHED, RECEIVED, clock_skew_ms=10**30) == finished
    assert clamp_finished(finished, FETCHED, RECEIVED, clock_skew_ms=-(10**15)) == finished


def test_the_answer_of_a_traveller_belongs_to_the_clinics_day() -> None:
    auckland_morning = datetime.fromisoformat("2025-05-01T08:00:00+12:00")
    finished_on = local_day(clamp_finished(auckland_morning, None, auckland_morning), "Europe/Madrid")
    assert window_state(finished_on, opens_on=day("2025-03-01"), closes_on=day("2025-04-30")) == WindowState.IN


def test_a_naive_instant_is_refused() -> None:
    with pytest.raises(ValueError, match="time zone"):
        clamp_finished(datetime(2025, 3, 1), FETCHED, RECEIVED)  # noqa: DTZ001 - the very thing refused
