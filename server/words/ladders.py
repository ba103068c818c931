"""How the steps of a reminder ladder are called."""

from collections.abc import Sequence

from server.schedule.ladder import Ladder, LadderStep, Role

ROLES = {
    Role.NOTICE: "a notice by the way the patient prefers",
    Role.PREFERRED: "by the way the patient prefers",
    Role.OTHER_CHANNEL: "by the patient's other way of contact",
    Role.TEXT: "by text message",
    Role.LETTER: "by letter",
    Role.TASK: "a task for staff",
    Role.SHORT_FORM: "the shortest form by telephone",
}


def step_words(step: LadderStep) -> str:
    """Such as "reminder 1: 7 days after the day of inviting, by the way the patient prefers"."""
    days = f"{abs(step.day)} day{'' if abs(step.day) == 1 else 's'}"
    when = (
        f"{days} {'before' if step.day < 0 else 'after'} the day of inviting" if step.day else "on the day of inviting"
    )
    return f"{step.step.replace('-', ' ')}: {when}, {ROLES[step.role]}"


def ladder_classes(ladder: Ladder) -> list[tuple[str, Sequence[LadderStep]]]:
    """The classes of timepoints with their steps; those with the same steps share one line."""
    named = (
        ("before surgery", ladder.before_surgery),
        ("days, weeks and months after surgery", ladder.weeks),
        ("years after surgery", ladder.years),
    )
    together: dict[tuple[LadderStep, ...], list[str]] = {}
    for name, steps in named:
        together.setdefault(steps, []).append(name)
    return [(" and ".join(names), steps) for steps, names in together.items()]
