"""How the steps of a reminder ladder are called."""

from collections.abc import Sequence

from server.schedule.ladder import Ladder, LadderStep, Role
from server.words.phrase import Phrase, counted_phrase, phrase

ROLES = {
    Role.NOTICE: phrase("a notice by the way the patient prefers"),
    Role.PREFERRED: phrase("by the way the patient prefers"),
    Role.OTHER_CHANNEL: phrase("by the patient's other way of contact"),
    Role.TEXT: phrase("by text message"),
    Role.LETTER: phrase("by letter"),
    Role.TASK: phrase("a task for staff"),
    Role.SHORT_FORM: phrase("the shortest form by telephone"),
}


def step_name(step: str) -> Phrase | str:
    """ "reminder 1"; a step that a clinic named in its own ladder as it stands there."""
    name, _dash, number = step.partition("-")
    if name == "reminder" and number.isdecimal():
        return phrase("reminder %(number)s", number=number)
    return phrase("invitation") if step == "invitation" else step.replace("-", " ")


def step_words(step: LadderStep) -> Phrase:
    """Such as "reminder 1: 7 days after the day of inviting, by the way the patient prefers"."""
    if not step.day:
        when = phrase("on the day of inviting")
    elif step.day < 0:
        when = counted_phrase(
            "%(number)s day before the day of inviting", "%(number)s days before the day of inviting", -step.day
        )
    else:
        when = counted_phrase(
            "%(number)s day after the day of inviting", "%(number)s days after the day of inviting", step.day
        )
    return phrase("%(step)s: %(when)s, %(way)s", step=step_name(step.step), when=when, way=ROLES[step.role])


def ladder_classes(ladder: Ladder) -> list[tuple[Sequence[Phrase], Sequence[LadderStep]]]:
    """The classes of timepoints with their steps; those with the same steps share one line."""
    named = (
        (phrase("before surgery"), ladder.before_surgery),
        (phrase("days, weeks and months after surgery"), ladder.weeks),
        (phrase("years after surgery"), ladder.years),
    )
    together: dict[tuple[LadderStep, ...], list[Phrase]] = {}
    for name, steps in named:
        together.setdefault(steps, []).append(name)
    return [(names, steps) for steps, names in together.items()]
