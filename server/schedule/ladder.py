"""Which message of the reminder ladder goes out today, if any.

A step is *settled* when its message was sent, or was let go with a reason. Only the latest step due is ever
sent: after weeks without a running server a patient gets one message, and the steps before it are passed over.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from server.schedule.plan import LadderStep
from server.schedule.status import WAITING, Facts, status


@dataclass(frozen=True)
class DueSteps:
    """`send`: the one step to send today. `passed_over`: earlier steps to settle as not sent, oldest first."""

    send: LadderStep | None = None
    passed_over: tuple[LadderStep, ...] = ()


def due_steps(
    ladder: Sequence[LadderStep], *, invites_on: date, today: date, settled: Collection[str], facts: Facts
) -> DueSteps:
    """What is due on `today`. Nothing before the window opens, once it has closed, once answered, or once not expected.

    `settled` names the steps already sent or let go. A step is never sent once a later one is settled.
    """
    if status(facts, today) not in WAITING:
        return DueSteps()
    due = [step for step in ladder if step.step not in settled and _day(step, invites_on) <= today]
    if not due:
        return DueSteps()
    last_settled = max((place for place, step in enumerate(ladder) if step.step in settled), default=-1)
    if ladder.index(due[-1]) < last_settled:
        return DueSteps(passed_over=tuple(due))
    return DueSteps(send=due[-1], passed_over=tuple(due[:-1]))


def next_step_on(ladder: Sequence[LadderStep], *, invites_on: date, settled: Collection[str]) -> date | None:
    """The day of the first step not settled, which may lie in the past; None when all are."""
    return min((_day(step, invites_on) for step in ladder if step.step not in settled), default=None)


def is_exhausted(ladder: Sequence[LadderStep], settled: Collection[str]) -> bool:
    """True when every step is settled. A ladder without steps is never exhausted: nobody was reminded."""
    return bool(ladder) and all(step.step in settled for step in ladder)


def _day(step: LadderStep, invites_on: date) -> date:
    return invites_on + timedelta(days=step.after_invite_days)
