"""Where an answer lies in relation to its window, and when a form was finished.

The window state is stored with the response and never back-dated, except for a baseline: whether it was early is only
known once the day of surgery is (`baseline_state`).
"""

from contextlib import suppress
from datetime import date, datetime, timedelta
from enum import StrEnum

from server.schedule.dates import utc


class WindowState(StrEnum):
    """`off_schedule`: no window, or finished after the follow-up had ended. `recalled`: a baseline after surgery."""

    EARLY = "early"
    IN = "in"
    LATE = "late"
    OFF_SCHEDULE = "off_schedule"
    RECALLED = "recalled"


def window_state(
    finished_on: date, *, opens_on: date | None, closes_on: date | None, not_expected_on: date | None = None
) -> WindowState:
    """The state of an answer to a timepoint after surgery. Opening and closing day are inside.

    `opens_on` None: a form outside the plan. `not_expected_on`: the day from which nothing was expected any more; an
    answer on that day still counts, and a window that had closed before it was expected to the end.
    """
    if opens_on is None:
        return WindowState.OFF_SCHEDULE
    excused = not_expected_on is not None and (closes_on is None or not_expected_on <= closes_on)
    if excused and not_expected_on is not None and finished_on > not_expected_on:
        return WindowState.OFF_SCHEDULE
    if finished_on < opens_on:
        return WindowState.EARLY
    if closes_on is not None and finished_on > closes_on:
        return WindowState.LATE
    return WindowState.IN


def is_early(finished_on: date, surgery_on: date | None, early_over_days: int) -> bool:
    """True when a baseline is more than `early_over_days` old by the day of surgery; not while that is unknown."""
    return surgery_on is not None and surgery_on - finished_on > timedelta(days=early_over_days)


def baseline_state(finished_on: date, *, surgery_on: date | None, early_over_days: int) -> WindowState:
    """The state of a baseline answer. `surgery_on`: the day surgery was done, else the planned one, else None.

    To be computed again whenever that day changes. The day of surgery itself is still before surgery.
    """
    if surgery_on is not None and finished_on > surgery_on:
        return WindowState.RECALLED
    return WindowState.EARLY if is_early(finished_on, surgery_on, early_over_days) else WindowState.IN


def clamp_finished(
    finished_at: datetime, fetched_at: datetime | None, received_at: datetime, *, clock_skew_ms: int | None = None
) -> datetime:
    """When a form was finished, in UTC, no earlier than its due sheet was fetched and no later than it was received.

    `finished_at` is the phone's word; `fetched_at` and `received_at` are the server's. `clock_skew_ms`: phone time
    minus server time as measured at the last fetch; taken off first. ValueError for a naive instant.
    """
    finished, received = utc(finished_at), utc(received_at)
    if clock_skew_ms is not None:
        with suppress(OverflowError):  # no real clock is that far off: the phone's word stands and is clamped
            finished -= timedelta(milliseconds=clock_skew_ms)
    if fetched_at is not None:
        finished = max(finished, utc(fetched_at))
    return min(finished, received)
