"""The status of a timepoint: stories, and the table against what is computed."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from server.schedule.follow_up_dates import EndReason
from server.schedule.status import (
    ANSWERED,
    DONE,
    TABLE,
    Facts,
    Happened,
    Reason,
    Standing,
    Status,
    Transition,
    days_left,
    diagram,
    is_done,
    look_again_on,
    standing,
    status,
    transition,
)
from server.schedule.window import WindowState, window_state
from tests.schedule.cast import day, facts

NOT_ASKED = Facts(opens_on=day("2025-01-01"), due_on=day("2025-02-01"), closes_on=day("2025-03-01"))
YEAR_1 = replace(NOT_ASKED, asked_on=day("2025-01-20"))
todays = st.dates(date(2023, 10, 1), date(2025, 12, 31))


def answered(on: str, before: Facts = YEAR_1) -> Facts:
    state = window_state(
        day(on), opens_on=before.opens_on, closes_on=before.closes_on, not_expected_on=before.not_expected_on
    )
    return replace(before, answered_on=day(on), answered_state=state)


def ended(on: str, reason: EndReason = EndReason.DIED) -> Facts:
    return replace(YEAR_1, not_expected_on=day(on), not_expected_reason=reason)


def withheld(since: str) -> Facts:
    return replace(NOT_ASKED, withheld_on=day(since))


@pytest.mark.parametrize(
    ("today", "expected"),
    [
        ("2024-12-31", Status.UPCOMING),
        ("2025-01-01", Status.OPEN),
        ("2025-02-01", Status.OPEN),
        ("2025-02-02", Status.OVERDUE),
        ("2025-03-01", Status.OVERDUE),
        ("2025-03-02", Status.MISSED),
    ],
)
def test_an_unanswered_timepoint_goes_from_upcoming_to_open_overdue_and_missed(today: str, expected: Status) -> None:
    assert status(YEAR_1, day(today)) == expected


def test_after_every_reminder_of_the_ladder_it_is_a_non_responder_until_the_window_closes() -> None:
    silent = replace(YEAR_1, ladder_exhausted_on=day("2025-02-10"))
    assert status(silent, day("2025-02-09")) == Status.OVERDUE
    assert status(silent, day("2025-02-10")) == Status.NON_RESPONDER
    assert status(silent, day("2025-03-01")) == Status.NON_RESPONDER
    assert status(silent, day("2025-03-02")) == Status.MISSED


CLOSED = day("2025-03-02")


def test_a_window_in_which_nobody_was_asked_is_never_asked_with_its_reason_and_not_missed() -> None:
    assert standing(NOT_ASKED, CLOSED) == Standing(Status.NEVER_ASKED, Reason.NOT_REACHED, CLOSED)
    assert standing(replace(NOT_ASKED, asked_on=CLOSED), CLOSED).reason == Reason.NOT_REACHED, "asked after its window"
    assert standing(YEAR_1, CLOSED) == Standing(Status.MISSED, Reason.NO_ANSWER, CLOSED)
    assert transition(Status.OVERDUE, NOT_ASKED, CLOSED) == Transition(
        Status.OVERDUE, Happened.CLOSED_UNASKED, Status.NEVER_ASKED
    )
    assert is_done(NOT_ASKED, CLOSED)


@pytest.mark.parametrize("since", ["2025-01-01", "2025-02-01"])
def test_a_text_that_held_it_back_from_its_due_day_on_is_the_reason_before_and_after_the_window_closes(
    since: str,
) -> None:
    assert standing(withheld(since), day("2025-03-01")) == Standing(
        Status.OVERDUE, Reason.TEXT_WITHHELD, day("2025-02-02")
    )
    assert standing(withheld(since), CLOSED) == Standing(Status.NEVER_ASKED, Reason.TEXT_WITHHELD, CLOSED)


def test_a_text_that_held_it_back_is_no_reason_where_it_could_be_asked_until_it_was_due_or_was_asked() -> None:
    assert standing(withheld("2025-02-02"), CLOSED).reason == Reason.NOT_REACHED
    asked = replace(withheld("2025-01-25"), asked_on=day("2025-01-20"))
    assert standing(asked, CLOSED) == Standing(Status.MISSED, Reason.NO_ANSWER, CLOSED)
    reminded = replace(withheld("2025-01-01"), ladder_exhausted_on=day("2025-02-10"))
    assert status(reminded, CLOSED) == Status.MISSED


def test_what_closed_before_enrolment_was_never_asked_for_that_reason_whatever_else_is_true() -> None:
    before = replace(withheld("2025-01-01"), historical=True, other_form=True)
    assert standing(before, CLOSED) == Standing(Status.NEVER_ASKED, Reason.ENROLLED_LATER, CLOSED)


def test_what_another_form_is_sent_for_stays_open_to_its_end_and_is_then_never_asked_for_that_reason() -> None:
    carried = replace(NOT_ASKED, other_form=True)
    for today in ("2025-01-01", "2025-02-20", "2025-03-01"):
        assert standing(carried, day(today)) == Standing(Status.OPEN, Reason.OTHER_FORM, day("2025-01-01")), today
    assert standing(carried, CLOSED) == Standing(Status.NEVER_ASKED, Reason.OTHER_FORM, CLOSED)


def test_an_answer_that_counts_for_both_follow_ups_is_an_answer_by_the_form_of_the_other() -> None:
    shared = replace(answered("2025-02-20", NOT_ASKED), other_answer=True)
    assert standing(shared, CLOSED) == Standing(Status.ANSWERED, Reason.OTHER_ANSWER, day("2025-02-20"))


def test_an_answer_or_an_end_comes_before_never_asked() -> None:
    assert status(answered("2025-03-04", withheld("2025-01-01")), day("2025-03-05")) == Status.LATE
    died = replace(ended("2025-02-10"), asked_on=None)
    assert standing(died, day("2025-03-05")) == Standing(Status.NOT_EXPECTED, Reason.DIED, day("2025-02-10"))


@given(known=facts(), today=todays)
def test_every_status_has_a_reason_and_every_one_but_to_come_a_day_that_is_not_ahead(known: Facts, today: date) -> None:
    found = standing(known, today)
    assert found.reason in REASONS[found.status]
    assert (found.since is None) == (found.status == Status.UPCOMING)
    answered_ahead = found.status in ANSWERED or known.answered_on is not None  # no answer comes from the future
    assert found.since is None or answered_ahead or found.since <= today


REASONS = {
    Status.UPCOMING: {Reason.NOT_YET_OPEN},
    Status.OPEN: {Reason.IN_WINDOW, Reason.TEXT_WITHHELD, Reason.OTHER_FORM},
    Status.OVERDUE: {Reason.PAST_DUE, Reason.TEXT_WITHHELD},
    Status.NON_RESPONDER: {Reason.REMINDERS_ENDED, Reason.TEXT_WITHHELD},
    Status.MISSED: {
        Reason.NO_ANSWER,
        Reason.DECLINED,
        Reason.TOO_ILL,
        Reason.LANGUAGE,
        Reason.NO_DEVICE,
        Reason.OPENED_NOT_FINISHED,
        Reason.LOST,
    },
    Status.NEVER_ASKED: {
        Reason.ENROLLED_LATER,
        Reason.OTHER_FORM,
        Reason.OTHER_SIDE,
        Reason.TEXT_WITHHELD,
        Reason.NOT_REACHED,
    },
    Status.ANSWERED: {Reason.IN_WINDOW, Reason.OTHER_ANSWER},
    Status.EARLY: {Reason.BEFORE_WINDOW, Reason.OTHER_ANSWER},
    Status.LATE: {Reason.AFTER_WINDOW, Reason.OTHER_ANSWER},
    Status.RECALLED: {Reason.AFTER_SURGERY, Reason.OTHER_ANSWER},
    Status.NOT_EXPECTED: {Reason(str(each)) for each in EndReason},
}


@pytest.mark.parametrize(
    ("known", "reason"),
    [
        ({}, Reason.NO_ANSWER),
        ({"last_try": "left_message"}, Reason.NO_ANSWER),
        ({"lost_on": day("2024-02-01")}, Reason.LOST),
        ({"lost_on": CLOSED}, Reason.NO_ANSWER),
        ({"lost_on": day("2024-02-01"), "fetched_on": day("2025-02-03")}, Reason.OPENED_NOT_FINISHED),
        ({"last_try": "no_answer", "fetched_on": day("2025-02-03")}, Reason.OPENED_NOT_FINISHED),
        ({"last_try": "declined", "fetched_on": day("2025-02-03")}, Reason.DECLINED),
        ({"last_try": "too_ill"}, Reason.TOO_ILL),
        ({"last_try": "language", "lost_on": day("2024-02-01")}, Reason.LANGUAGE),
        ({"last_try": "no_device"}, Reason.NO_DEVICE),
    ],
)
def test_a_silence_has_the_reason_that_is_known_and_no_other_status_for_it(
    known: dict[str, Any], reason: Reason
) -> None:
    silent = replace(YEAR_1, **known)
    assert standing(silent, CLOSED) == Standing(Status.MISSED, reason, CLOSED)
    assert standing(silent, day("2025-03-01")) == standing(YEAR_1, day("2025-03-01")), "while its window is open"
    unasked = replace(silent, asked_on=None)
    assert standing(unasked, CLOSED) == Standing(Status.NEVER_ASKED, Reason.NOT_REACHED, CLOSED)


def test_a_nurse_can_still_rescue_a_non_responder() -> None:
    rescued = answered("2025-02-20", replace(YEAR_1, ladder_exhausted_on=day("2025-02-10")))
    assert status(rescued, day("2025-02-20")) == Status.ANSWERED


def test_an_answer_after_the_window_closed_is_kept_and_late() -> None:
    late = answered("2025-03-02")
    assert status(late, day("2025-03-02")) == Status.LATE
    assert transition(Status.MISSED, late, day("2025-03-02")) == Transition(
        Status.MISSED, Happened.ANSWERED_LATE, Status.LATE
    )


def test_an_answer_finished_in_time_on_a_phone_without_network_undoes_missed_when_it_arrives() -> None:
    in_time = answered("2025-02-28")
    assert transition(Status.MISSED, in_time, day("2025-03-20")) == Transition(
        Status.MISSED, Happened.ANSWERED_IN, Status.ANSWERED
    )


def test_a_baseline_too_long_before_surgery_is_early_and_one_after_it_is_recalled() -> None:
    baseline = Facts(day("2025-01-10"), day("2025-01-24"), day("2025-06-01"), answered_on=day("2025-01-12"),
                     answered_state=WindowState.EARLY)  # fmt: skip
    assert status(baseline, day("2025-06-01")) == Status.EARLY
    recalled = replace(baseline, answered_on=day("2025-06-03"), answered_state=WindowState.RECALLED)
    assert standing(recalled, day("2025-06-03")) == Standing(Status.RECALLED, Reason.AFTER_SURGERY, day("2025-06-03"))


def test_surgery_put_off_turns_an_answered_baseline_into_an_early_one_and_back() -> None:
    baseline = Facts(day("2025-01-10"), day("2025-01-24"), None, answered_on=day("2025-01-12"),
                     answered_state=WindowState.EARLY)  # fmt: skip
    put_off = transition(Status.ANSWERED, baseline, day("2025-02-01"))
    assert put_off == Transition(Status.ANSWERED, Happened.ANSWERED_EARLY, Status.EARLY)
    brought_forward = transition(Status.EARLY, replace(baseline, answered_state=WindowState.IN), day("2025-02-01"))
    assert brought_forward == Transition(Status.EARLY, Happened.ANSWERED_IN, Status.ANSWERED)


def test_a_baseline_without_a_day_of_surgery_is_never_missed() -> None:
    baseline = Facts(day("2025-01-10"), day("2025-01-24"), None)
    assert status(baseline, day("2045-01-01")) == Status.OVERDUE
    assert look_again_on(baseline, day("2045-01-01")) is None
    assert days_left(baseline, day("2025-01-12")) is None


def test_death_inside_the_window_excuses_from_that_day_on() -> None:
    assert status(ended("2025-02-10"), day("2025-02-09")) == Status.OVERDUE
    assert status(ended("2025-02-10"), day("2025-02-10")) == Status.NOT_EXPECTED
    assert status(ended("2025-02-10"), day("2026-02-10")) == Status.NOT_EXPECTED


def test_a_death_learnt_of_after_the_window_closed_excuses_what_had_been_missed() -> None:
    learnt = transition(Status.MISSED, ended("2025-02-10"), day("2025-09-01"))
    assert learnt == Transition(Status.MISSED, Happened.ENDED, Status.NOT_EXPECTED)


def test_an_end_after_the_window_closed_leaves_it_missed() -> None:
    assert status(ended("2025-03-02"), day("2025-09-01")) == Status.MISSED
    assert status(ended("2025-03-01"), day("2025-09-01")) == Status.NOT_EXPECTED


def test_an_answer_by_the_day_of_the_end_counts_and_one_after_it_changes_nothing() -> None:
    moved = ended("2025-02-10", EndReason.TRANSFERRED)
    assert status(answered("2025-02-10", moved), day("2025-05-01")) == Status.ANSWERED
    after = answered("2025-02-11", moved)
    assert after.answered_state == WindowState.OFF_SCHEDULE
    assert status(after, day("2025-05-01")) == Status.NOT_EXPECTED


def test_an_end_taken_back_is_a_correction() -> None:
    back = transition(Status.NOT_EXPECTED, YEAR_1, day("2025-02-10"))
    assert back == Transition(Status.NOT_EXPECTED, Happened.CORRECTED, Status.OVERDUE)


def test_a_surgery_date_put_right_may_make_an_open_timepoint_upcoming_again_as_a_correction() -> None:
    back = transition(Status.OPEN, YEAR_1, day("2024-12-01"))
    assert back == Transition(Status.OPEN, Happened.CORRECTED, Status.UPCOMING)


def test_after_weeks_without_a_server_one_step_says_where_it_stands() -> None:
    assert transition(Status.UPCOMING, YEAR_1, day("2025-06-01")) == Transition(
        Status.UPCOMING, Happened.CLOSED, Status.MISSED
    )


def test_nothing_is_written_down_when_nothing_changed() -> None:
    assert transition(Status.OPEN, YEAR_1, day("2025-01-20")) is None


def test_the_days_to_look_again_are_the_day_after_due_and_the_day_after_closing() -> None:
    assert look_again_on(YEAR_1, day("2024-06-01")) == day("2025-01-01")
    assert look_again_on(YEAR_1, day("2025-01-01")) == day("2025-02-02")
    assert look_again_on(YEAR_1, day("2025-02-02")) == day("2025-03-02")
    assert look_again_on(YEAR_1, day("2025-03-02")) is None


def test_a_window_on_its_last_day_has_no_days_left() -> None:
    assert days_left(YEAR_1, day("2025-02-19")) == 10
    assert days_left(YEAR_1, day("2025-03-01")) == 0


def test_facts_that_contradict_each_other_are_refused() -> None:
    with pytest.raises(ValueError, match="window state"):
        replace(YEAR_1, answered_on=day("2025-02-01"))
    with pytest.raises(ValueError, match="order"):
        replace(YEAR_1, due_on=day("2025-03-02"))


@given(known=facts(), today=todays)
def test_every_status_is_one_of_the_table_and_stays_until_the_day_to_look_again(known: Facts, today: date) -> None:
    now = status(known, today)
    assert now in TABLE
    again = look_again_on(known, today)
    assert again is None or again > today
    until = again or date(2026, 12, 31)
    assert all(status(known, today + timedelta(days=n)) == now for n in range((until - today).days))
    assert again is None or status(known, again) != now


@given(known=facts(), today=todays, later=st.integers(1, 500))
def test_passing_days_bring_only_changes_of_the_table(known: Facts, today: date, later: int) -> None:
    step = transition(status(known, today), known, today + timedelta(days=later))
    assert step is None or TABLE[step.before][step.happened] == step.after


@given(known=facts(), news=facts(), today=todays)
def test_an_answer_an_exhausted_ladder_or_an_end_brings_only_changes_of_the_table(
    known: Facts, news: Facts, today: date
) -> None:
    before = replace(known, answered_on=None, answered_state=None, ladder_exhausted_on=None)
    before = replace(before, not_expected_on=None, not_expected_reason=None)
    learnt = [
        replace(before, answered_on=news.answered_on, answered_state=news.answered_state),
        replace(before, ladder_exhausted_on=news.ladder_exhausted_on),
        replace(before, not_expected_on=news.not_expected_on, not_expected_reason=news.not_expected_reason),
        replace(known, not_expected_on=None, not_expected_reason=None),
    ]
    steps = [step for after in learnt if (step := transition(status(before, today), after, today)) is not None]
    assert [step for step in steps if TABLE[step.before][step.happened] != step.after] == []


@given(known=facts(), end=facts(), today=todays)
def test_an_end_after_an_answer_brings_only_changes_of_the_table(known: Facts, end: Facts, today: date) -> None:
    before = replace(known, not_expected_on=None, not_expected_reason=None)
    after = replace(before, not_expected_on=end.not_expected_on, not_expected_reason=end.not_expected_reason)
    step = transition(status(before, today), after, today)
    assert step is None or TABLE[step.before][step.happened] == step.after


@given(before=st.sampled_from(Status), known=facts(), today=todays)
def test_a_transition_ends_at_the_computed_status_and_is_a_correction_exactly_when_the_table_lacks_it(
    before: Status, known: Facts, today: date
) -> None:
    step = transition(before, known, today)
    assume(step is not None)
    assert step is not None
    assert (step.before, step.after) == (before, status(known, today))
    assert (step.happened == Happened.CORRECTED) == (step.after not in TABLE[before].values())


@given(known=facts(), today=todays, later=st.integers(0, 900))
def test_what_is_done_stays_done_unless_a_new_fact_arrives(known: Facts, today: date, later: int) -> None:
    assume(is_done(known, today))
    assert status(known, today + timedelta(days=later)) == status(known, today)
    assert status(known, today) in DONE


def test_every_change_of_the_table_can_happen() -> None:
    """Each pair is reached from facts, so that no line of the table is dead."""
    end = {"not_expected_on": day("2025-01-15"), "not_expected_reason": EndReason.WITHDREW}
    recalled = replace(YEAR_1, answered_on=day("2025-03-04"), answered_state=WindowState.RECALLED)
    reached = {
        Happened.OPENED: (YEAR_1, "2025-01-05"),
        Happened.FELL_DUE: (YEAR_1, "2025-02-05"),
        Happened.LADDER_EXHAUSTED: (replace(YEAR_1, ladder_exhausted_on=day("2025-02-05")), "2025-02-05"),
        Happened.CLOSED: (YEAR_1, "2025-03-05"),
        Happened.CLOSED_UNASKED: (withheld("2025-01-01"), "2025-03-05"),
        Happened.ANSWERED_IN: (answered("2025-01-10", replace(YEAR_1, **end)), "2025-03-05"),  # type: ignore[arg-type]
        Happened.ANSWERED_EARLY: (answered("2024-12-20"), "2025-03-05"),
        Happened.ANSWERED_LATE: (answered("2025-03-04"), "2025-03-05"),
        Happened.ANSWERED_RECALLED: (recalled, "2025-03-05"),
        Happened.ENDED: (replace(YEAR_1, **end), "2025-03-05"),  # type: ignore[arg-type]
    }
    lines = [Transition(before, happened, after) for before, row in TABLE.items() for happened, after in row.items()]
    assert {line.happened for line in lines} == set(reached)
    happens = [transition(line.before, reached[line.happened][0], day(reached[line.happened][1])) for line in lines]
    assert happens == lines


def test_the_diagram_has_one_line_for_each_change_of_the_table() -> None:
    lines = diagram().splitlines()
    assert lines[0] == "stateDiagram-v2"
    assert "    overdue --> non_responder: ladder_exhausted" in lines
    assert len(lines) == 2 + sum(len(row) for row in TABLE.values())
