"""A reminder ladder as data, and which of its steps is due today.

A step is *settled* when its message was sent, or was let go with a reason. Only the latest step due is ever sent: after weeks
without a running server a patient gets one message, and the steps before it are passed over.

A step names a role, not a channel. What carries it depends on the patient: `channel_of`.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from server.schedule.status import WAITING, Facts, status
from server.schedule.timepoint_code import TimepointCode


class Role(StrEnum):
    """What a step is for. `notice` announces that a form will come; `task` and `short_form` are done by a person."""

    NOTICE = "notice"
    PREFERRED = "preferred"
    OTHER_CHANNEL = "other_channel"
    TEXT = "text"
    LETTER = "letter"
    TASK = "task"
    SHORT_FORM = "short_form"


FIXED_CHANNEL = {Role.TEXT: "sms", Role.LETTER: "letter"}


@dataclass(frozen=True)
class LadderStep:
    """One step, `day` days after the day on which the timepoint invites; before it if negative."""

    step: str
    day: int
    role: Role


@dataclass(frozen=True)
class Ladder:
    """The steps for each class of timepoint, in order; `weeks` is for all that is counted in days, weeks or months."""

    id: str
    version: str
    title: str
    note: str
    before_surgery: tuple[LadderStep, ...]
    weeks: tuple[LadderStep, ...]
    years: tuple[LadderStep, ...]

    @property
    def name(self) -> str:
        return f"{self.id}@{self.version}"

    def steps(self, code: TimepointCode) -> tuple[LadderStep, ...]:
        if code.is_before_surgery:
            return self.before_surgery
        return self.weeks if code.year is None else self.years


@dataclass(frozen=True)
class DueSteps:
    """`send`: the one step to send today. `passed_over`: earlier steps to settle as not sent, oldest first."""

    send: LadderStep | None = None
    passed_over: tuple[LadderStep, ...] = ()


def due_steps(
    steps: Sequence[LadderStep],
    *,
    invites_on: date,
    today: date,
    settled: Collection[str],
    facts: Facts,
    reached_on: date | None = None,
) -> DueSteps:
    """What is due on `today`. Nothing before the window opens, once it has closed, once answered, or once not expected.

    `settled` names the steps already sent or let go. A step is never sent once a later one is settled. `reached_on` is the
    last day on which a step of another ladder version was settled: the climb goes on from there, so steps due by that day
    are passed over.
    """
    if status(facts, today) not in WAITING:
        return DueSteps()
    due = [step for step in steps if step.step not in settled and _day(step, invites_on) <= today]
    if not due:
        return DueSteps()
    last_settled = max((place for place, step in enumerate(steps) if step.step in settled), default=-1)
    is_behind = steps.index(due[-1]) < last_settled
    if is_behind or (reached_on is not None and _day(due[-1], invites_on) <= reached_on):
        return DueSteps(passed_over=tuple(due))
    return DueSteps(send=due[-1], passed_over=tuple(due[:-1]))


def next_steps(steps: Sequence[LadderStep], *, invites_on: date, today: date, settled: Collection[str]) -> DueSteps:
    """The next step for whoever will not wait for its day: of those due the latest, else the first to come; none behind a settled one."""
    last_settled = max((place for place, step in enumerate(steps) if step.step in settled), default=-1)
    left = steps[last_settled + 1 :]
    due = [step for step in left if _day(step, invites_on) <= today]
    if due:
        return DueSteps(send=due[-1], passed_over=tuple(due[:-1]))
    return DueSteps(send=left[0] if left else None)


def is_exhausted(steps: Sequence[LadderStep], settled: Collection[str]) -> bool:
    """True when every step is settled. A ladder without steps is never exhausted: nobody was reminded."""
    return bool(steps) and all(step.step in settled for step in steps)


def is_overtaken(step: str, steps: Sequence[LadderStep], *, invites_on: date, today: date) -> bool:
    """True when a later step is due as well: only the latest is sent."""
    names = [each.step for each in steps]
    if step not in names:
        return False
    return any(_day(each, invites_on) <= today for each in steps[names.index(step) + 1 :])


def channel_of(role: Role, wanted: Sequence[str], channels: Sequence[str]) -> str:
    """The channel that carries a step to a patient.

    `wanted`: the patient's ways of contact, the preferred first; empty means that any will do. `channels`: those that there
    are. `preferred` and `notice` take the first wanted one, `other_channel` the second, or the first where there is only one.
    Where no wanted one is among the channels it is the first of all, by which the patient will turn out not to be reached.
    """
    if role in FIXED_CHANNEL:
        return FIXED_CHANNEL[role]
    usable = [channel for channel in wanted or channels if channel in channels] or [channels[0]]
    return usable[1] if role == Role.OTHER_CHANNEL and len(usable) > 1 else usable[0]


def _day(step: LadderStep, invites_on: date) -> date:
    return invites_on + timedelta(days=step.day)
