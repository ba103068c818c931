"""Dates that contradict each other are refused where they come together."""

from datetime import date

import pytest

from server.schedule.follow_up_dates import EndReason, FollowUpDates

ON = date(2025, 1, 10)


def test_surgery_cannot_be_both_done_and_cancelled() -> None:
    with pytest.raises(ValueError, match="both done and cancelled"):
        FollowUpDates(ON, ON, surgery_on=ON, cancelled_on=ON)


def test_an_end_has_a_day_and_a_reason() -> None:
    with pytest.raises(ValueError, match="for a reason"):
        FollowUpDates(ON, ON, ended_on=ON)
    with pytest.raises(ValueError, match="for a reason"):
        FollowUpDates(ON, ON, end_reason=EndReason.DIED)


def test_the_first_of_two_ends_counts() -> None:
    dates = FollowUpDates(ON, ON, cancelled_on=date(2025, 3, 1), ended_on=date(2025, 2, 1), end_reason=EndReason.DIED)
    assert dates.end == (date(2025, 2, 1), EndReason.DIED)


def test_silence_is_no_end() -> None:
    assert FollowUpDates(ON, ON, surgery_on=ON).end is None
