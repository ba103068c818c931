"""Which message is due."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.schedule.follow_up_dates import EndReason
from server.schedule.ladder import (
    DueSteps,
    LadderStep,
    Role,
    channel_of,
    due_steps,
    is_exhausted,
    is_overtaken,
)
from server.schedule.status import Facts
from server.schedule.window import WindowState
from tests.schedule.cast import day

LADDER = tuple(
    LadderStep(step, days, Role.PREFERRED)
    for step, days in (("invitation", 0), ("reminder-1", 7), ("reminder-2", 14), ("reminder-3", 21))
)
NAMES = [step.step for step in LADDER]
INVITES = day("2025-01-10")
OPEN = Facts(opens_on=day("2025-01-01"), due_on=day("2025-01-24"), closes_on=day("2025-03-01"))


def due(today: str, *settled: str, facts: Facts = OPEN) -> tuple[str | None, list[str]]:
    found = due_steps(LADDER, invites_on=INVITES, today=day(today), settled=settled, facts=facts)
    return found.send.step if found.send else None, [step.step for step in found.passed_over]


def test_the_invitation_goes_on_the_day_of_inviting_and_not_before() -> None:
    assert due("2025-01-09") == (None, [])
    assert due("2025-01-10") == ("invitation", [])


def test_a_reminder_goes_a_week_later_and_nothing_in_between() -> None:
    assert due("2025-01-16", "invitation") == (None, [])
    assert due("2025-01-17", "invitation") == ("reminder-1", [])


def test_after_weeks_without_a_server_one_message_goes_and_the_others_are_passed_over() -> None:
    assert due("2025-01-28") == ("reminder-2", ["invitation", "reminder-1"])
    assert due("2025-01-29", "invitation", "reminder-1", "reminder-2") == (None, [])


def test_a_step_left_out_is_not_sent_after_a_later_one() -> None:
    assert due("2025-01-28", "reminder-2") == (None, ["invitation", "reminder-1"])


def test_nothing_goes_once_it_is_answered() -> None:
    answered = replace(OPEN, answered_on=day("2025-01-12"), answered_state=WindowState.IN)
    assert due("2025-01-17", "invitation", facts=answered) == (None, [])


def test_nothing_goes_after_the_window_closed() -> None:
    short = replace(OPEN, closes_on=day("2025-01-24"))
    assert due("2025-01-24", "invitation", "reminder-1", facts=short) == ("reminder-2", [])
    assert due("2025-01-25", "invitation", "reminder-1", facts=short) == (None, [])


def test_nothing_goes_once_it_is_no_longer_expected() -> None:
    assert due(
        "2025-01-17",
        "invitation",
        facts=replace(OPEN, not_expected_on=day("2025-01-17"), not_expected_reason=EndReason.DIED),
    ) == (None, [])


def test_nothing_goes_before_the_window_opens_however_early_it_invites() -> None:
    assert due("2025-01-10", facts=replace(OPEN, opens_on=day("2025-01-11"))) == (None, [])


def test_a_ladder_is_exhausted_when_every_step_is_settled_and_one_without_steps_never_is() -> None:
    assert not is_exhausted(LADDER, NAMES[:3])
    assert is_exhausted(LADDER, NAMES)
    assert not is_exhausted((), [])


def test_after_a_change_the_climb_goes_on_from_the_day_reached() -> None:
    other = (LadderStep("first", 0, Role.PREFERRED), LadderStep("call", 10, Role.PREFERRED))

    def due_then(today: str) -> DueSteps:
        reached_on = day("2025-01-17")  # the old ladder's first reminder
        return due_steps(
            other, invites_on=INVITES, today=day(today), settled=NAMES[:2], facts=OPEN, reached_on=reached_on
        )

    assert due_then("2025-01-18") == DueSteps(passed_over=other[:1])
    assert due_then("2025-01-20") == DueSteps(send=other[1], passed_over=other[:1])


def test_a_waiting_message_is_overtaken_once_a_later_step_is_due() -> None:
    assert not is_overtaken("invitation", LADDER, invites_on=INVITES, today=day("2025-01-16"))
    assert is_overtaken("invitation", LADDER, invites_on=INVITES, today=day("2025-01-17"))
    assert not is_overtaken("reminder-3", LADDER, invites_on=INVITES, today=day("2025-03-01"))
    assert not is_overtaken("of another ladder", LADDER, invites_on=INVITES, today=day("2025-03-01"))


@pytest.mark.parametrize(
    ("role", "wanted", "channels", "channel"),
    [
        (Role.PREFERRED, "sms email", "email sms", "sms"),
        (Role.NOTICE, "sms email", "email sms", "sms"),
        (Role.OTHER_CHANNEL, "sms email", "email sms", "email"),
        (Role.OTHER_CHANNEL, "email", "email sms", "email"),
        (Role.OTHER_CHANNEL, "", "email sms", "sms"),
        (Role.PREFERRED, "letter email", "email", "email"),
        (Role.PREFERRED, "telephone", "email", "email"),
        (Role.TEXT, "email", "email sms", "sms"),
        (Role.LETTER, "email", "email", "letter"),
    ],
)
def test_a_role_becomes_a_channel_by_the_patient_s_own_order(
    role: Role, wanted: str, channels: str, channel: str
) -> None:
    assert channel_of(role, wanted.split(), channels.split()) == channel


@given(gaps=st.lists(st.integers(1, 40), max_size=30))
def test_however_rarely_the_server_runs_each_step_goes_at_most_once_in_order_and_one_a_day(gaps: list[int]) -> None:
    today: date = INVITES
    settled: list[str] = []
    sent: list[str] = []
    for gap in gaps:
        found = due_steps(LADDER, invites_on=INVITES, today=today, settled=settled, facts=OPEN)
        sent += [found.send.step] if found.send else []
        settled += [step.step for step in found.passed_over] + ([found.send.step] if found.send else [])
        assert due_steps(LADDER, invites_on=INVITES, today=today, settled=settled, facts=OPEN) == DueSteps()
        today += timedelta(days=gap)
    assert sent == sorted(set(sent), key=NAMES.index)
    assert len(settled) == len(set(settled))


@given(counts=st.integers(0, 60))
def test_a_server_that_runs_every_day_sends_every_step_on_its_day(counts: int) -> None:
    settled: dict[str, date] = {}
    for n in range(counts):
        today = INVITES + timedelta(days=n)
        found = due_steps(LADDER, invites_on=INVITES, today=today, settled=settled, facts=OPEN)
        assert found.passed_over == ()
        if found.send:
            settled[found.send.step] = today
    expected = {step.step: INVITES + timedelta(days=step.day) for step in LADDER}
    assert settled == {step: on for step, on in expected.items() if (on - INVITES).days < counts}
