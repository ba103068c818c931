"""A row's facts, in the form that server.schedule.status computes with."""

from dataclasses import replace
from datetime import date
from typing import Any

from sqlalchemy import Row

from server.models import FollowUp, Operation, Patient, Timepoint
from server.schedule.dates import last_possible
from server.schedule.follow_up_dates import EndReason, FollowUpDates
from server.schedule.status import Facts, Standing, Status, standing, status
from server.schedule.timepoint_code import TimepointCode
from server.schedule.window import WindowState, baseline_state

# What a query selects so that its rows can be asked for their status without loading whole timepoints.
STATUS_COLUMNS = (
    Timepoint.opens_on, Timepoint.due_on, Timepoint.closes_on, Timepoint.answered_on, Timepoint.window_state,
    Timepoint.ladder_exhausted_on, Timepoint.not_expected_on, Timepoint.not_expected_reason,
    Timepoint.asked_on, Timepoint.withheld_on, Timepoint.historical, Timepoint.carried_by_id, Timepoint.answer_from_id,
)  # fmt: skip
TimepointRow = Timepoint | Row[*tuple[Any, ...]]
PatientRow = Patient | Row[*tuple[Any, ...]]


def facts_of(timepoint: TimepointRow) -> Facts:
    """Of a whole row, or of one that selected STATUS_COLUMNS."""
    return Facts(
        opens_on=timepoint.opens_on,
        due_on=timepoint.due_on,
        closes_on=timepoint.closes_on,
        answered_on=timepoint.answered_on,
        answered_state=WindowState(timepoint.window_state) if timepoint.window_state else None,
        ladder_exhausted_on=timepoint.ladder_exhausted_on,
        not_expected_on=timepoint.not_expected_on,
        not_expected_reason=EndReason(timepoint.not_expected_reason) if timepoint.not_expected_reason else None,
        asked_on=timepoint.asked_on,
        withheld_on=timepoint.withheld_on,
        historical=timepoint.historical,
        other_form=timepoint.carried_by_id is not None,
        other_answer=timepoint.answer_from_id is not None,
    )


def status_of(timepoint: TimepointRow, today: date) -> Status:
    return status(facts_of(timepoint), today)


def standing_of(
    timepoint: Timepoint,
    today: date,
    *,
    fetched_on: date | None = None,
    lost_on: date | None = None,
    other_side: bool = False,
) -> Standing:
    """`fetched_on`: when its form was fetched, `lost_on`: that of the patient, `other_side`: it was asked about the other shoulder.

    Without them a window that closed without an answer has fewer reasons.
    """
    tried = replace(facts_of(timepoint), last_try=timepoint.last_try, fetched_on=fetched_on)
    known = replace(tried, lost_on=lost_on, other_side=other_side)
    return standing(known, today)


def last_day_of(timepoint: TimepointRow) -> date | None:
    """The last day on which it can be answered; of a baseline that has no closing day yet, the planned day of surgery."""
    if timepoint.closes_on is not None or not TimepointCode.parse(timepoint.code).is_before_surgery:
        return timepoint.closes_on
    return timepoint.anchor_on


def baseline_window_state(operation: Operation, answered_on: date, early_over_days: int) -> WindowState:
    """Recalled only once surgery is *done* before the answer; a planned day that passed makes nothing recalled."""
    surgery_on = operation.surgery_on or operation.surgery_planned_on
    state = baseline_state(answered_on, surgery_on=surgery_on, early_over_days=early_over_days)
    return WindowState.IN if state == WindowState.RECALLED and operation.surgery_on is None else state


def death_by(patient: PatientRow) -> date | None:
    """The last day that a death can have been, where its day is known to the month or year."""
    on: date | None = patient.died_on
    return None if on is None else last_possible(on, patient.died_precision)


def left_on(patient: PatientRow) -> tuple[date, EndReason] | None:
    """From when and why nothing is expected of the patient at all, the first of several."""
    days = (
        (patient.died_on, EndReason.DIED),
        (patient.withdrew_on, EndReason.WITHDREW),
        (patient.transferred_on, EndReason.TRANSFERRED),
    )
    return min(((day, reason) for day, reason in days if day is not None), default=None)


def capacity_lost(patient: PatientRow) -> tuple[date, EndReason] | None:
    """From when questionnaires stop since the patient cannot decide; None also where the representative answers them."""
    on = patient.capacity_lost_on
    return (on, EndReason.CAPACITY_LOST) if on is not None and patient.capacity_then == "stop" else None


def withdrew(patient: PatientRow) -> tuple[str, date] | None:
    """How far a withdrawal from contact goes, and the day of that step; None where the patient may be contacted."""
    if patient.withdrew_on is None:
        return None
    extent = patient.withdrawal_extent or "contact"
    on = {"records": patient.records_closed_on, "erasure": patient.erasure_asked_on}.get(extent)
    return extent, on or patient.withdrew_on


def spoken_for_since(patient: Patient) -> date | None:
    """From when a representative answers the questionnaires, since the patient cannot decide."""
    return patient.capacity_lost_on if patient.capacity_then == "proxy" else None


def is_spoken_for(patient: PatientRow, today: date) -> bool:
    """Whether messages and letters speak to a representative and not to the patient, who cannot decide."""
    since: date | None = patient.capacity_lost_on
    return patient.capacity_then == "proxy" and since is not None and since <= today


def dates_of(follow_up: FollowUp) -> FollowUpDates:
    """The dates of a follow-up, from its operation and its baselines. Loads both."""
    operation = follow_up.operation
    baselines = [row for row in follow_up.timepoints if TimepointCode.parse(row.code).is_before_surgery]
    baselines.sort(key=lambda row: row.attempt)
    return FollowUpDates(
        enrolled_on=follow_up.started_on,
        started_on=follow_up.started_on,
        surgery_planned_on=operation.surgery_planned_on,
        surgery_on=operation.surgery_on,
        cancelled_on=operation.cancelled_on,
        ended_on=follow_up.ended_on if follow_up.end_reason != EndReason.CANCELLED else None,
        end_reason=EndReason(follow_up.end_reason) if follow_up.end_reason not in (None, EndReason.CANCELLED) else None,
        baseline_answered_on=tuple(
            row.answered_on for row in baselines if row.answered_on is not None and row.answer_from_id is None
        ),
        baseline_asked=len(baselines),
    )
