"""Answers that follow from who a person is and not from how the shoulder does that day: each form tells the same."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import log
from random import Random

NO_DIFFERENCE = 0.9  # points between two shoulders that most do not feel
RIGHT, LEFT, NEITHER = 1, 2, 0
YES, NOT_YET, NEVER, NOT_BEFORE = 1, 0, 2, 3
NEVER_AFTER_WEEKS = 40  # before that whoever will not go back says "not yet"


@dataclass(frozen=True)
class Going:
    """Back to something: the share of those who did not do it before, of those who never will again, and weeks of half of the others."""

    item: str
    not_before: float
    never: float
    weeks: float


BACK = (Going("1", 0.5, 0.06, 9), Going("2", 0.35, 0.12, 19), Going("3", 0.15, 0.05, 7))


def back_by(seed: str, weeks: float) -> dict[str, int]:
    """What `return@1` is answered so many weeks after surgery; `seed` names the shoulder."""
    random, found = Random(f"{seed}, going back"), dict[str, int]()
    for each in BACK:
        drawn, back_after = random.random(), max(1, round(random.lognormvariate(log(each.weeks), 0.45)))
        name = f"return/{each.item}"
        if drawn < each.not_before:
            found[name] = NOT_BEFORE
        elif drawn < each.not_before + each.never:
            found[name] = NEVER if weeks >= NEVER_AFTER_WEEKS else NOT_YET
        elif back_after > weeks:
            found[name] = NOT_YET
        else:
            found |= {name: YES, f"{name}a": min(130, back_after)}
    return found


def preferred(random: Random, ability: Mapping[str, float]) -> dict[str, int]:
    """The shoulder that does better, by side; nothing while only one was operated on."""
    if len(ability) < 2:
        return {}
    better = ability["right"] - ability["left"] + random.gauss(0, 1.0)
    return {"preference/1": NEITHER if abs(better) < NO_DIFFERENCE else RIGHT if better > 0 else LEFT}
