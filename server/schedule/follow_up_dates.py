"""The dates of one follow-up that decide which timepoints it has."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class EndReason(StrEnum):
    """Why nothing more is expected. Silence is never one, nor is a revision: the earlier clock goes on beside the new one."""

    DIED = "died"
    WITHDREW = "withdrew"
    TRANSFERRED = "transferred"
    CANCELLED = "cancelled"
    CAPACITY_LOST = "capacity_lost"
    NO_FOLLOW_UP = "no_follow_up"  # the operation turned out to be one with which none begins
    TAKEN_BACK = "taken_back"  # the operation or the enrolment was entered in error


@dataclass(frozen=True)
class FollowUpDates:
    """One follow-up: of one operation on one shoulder.

    `enrolled_on`: the day this operation was entered; the baseline opens then.
    `started_on`: the first day on which the clinic could ask, usually `enrolled_on`. What closed before it was never
    asked.
    `surgery_on`: the day surgery was *done*. `surgery_planned_on` may move at will and only matters until then.
    `baseline_answered_on`: the day each baseline was finished, first attempt first.
    `baseline_asked`: how many attempts of the baseline have already been put before the patient (answered or not).
    ValueError when the dates contradict each other.
    """

    enrolled_on: date
    started_on: date
    surgery_planned_on: date | None = None
    surgery_on: date | None = None
    cancelled_on: date | None = None
    ended_on: date | None = None
    end_reason: EndReason | None = None
    baseline_answered_on: tuple[date, ...] = ()
    baseline_asked: int = 0

    def __post_init__(self) -> None:
        if self.surgery_on is not None and self.cancelled_on is not None:
            raise ValueError("surgery cannot be both done and cancelled")
        if (self.ended_on is None) != (self.end_reason is None):
            raise ValueError("a follow-up ends on a day and for a reason, or not at all")

    @property
    def end(self) -> tuple[date, EndReason] | None:
        """The day from which nothing more is expected and why; cancelled surgery ends the follow-up too."""
        ends = []
        if self.cancelled_on is not None:
            ends.append((self.cancelled_on, EndReason.CANCELLED))
        if self.ended_on is not None and self.end_reason is not None:
            ends.append((self.ended_on, self.end_reason))
        return min(ends, default=None)

    @property
    def surgery_expected_on(self) -> date | None:
        """The day of surgery if done, else the planned one."""
        return self.surgery_on or self.surgery_planned_on
