"""Who answers, how and when: about two in three in the first years, a little more than half after fifteen.

Silence leans as it does in practice: whoever is unhappy with the shoulder answers less, so that what was answered looks a little better
than it is. Of those who stayed away from a review, the results were one class lower (Wildner 1995); before surgery, incomplete pairs
had the worse scores. The lean is modest, as most found it to be.
"""

from random import Random

from server.demo.answers import ACCEPTABLE
from server.demo.stories import Fate, PatientStory
from server.schedule.timepoint_code import TimepointCode, Unit

AFTER_WHICH_MESSAGE = ((0, 4), (7, 10), (14, 18), (21, 34))  # days after the invitation

# How likely people answer, 1 being usual, and how many of a hundred are so: one in five seldom does.
WILLING, SHARES = (1.05, 0.9, 0.3), (46, 32, 22)
UNHAPPY, CONTENT = 0.7, 1.08  # how much less and more they answer


def draw_fate(random: Random, story: PatientStory, code: str, ability: float) -> Fate:
    """`ability`: how the shoulder does when the form is asked."""
    if random.random() > _share(TimepointCode.parse(code), ability) * story.willing:
        return (
            Fate("late", random.randint(3, 45))
            if random.random() < 0.14
            else Fate("none", called=random.random() < 0.5)
        )
    if story.prefers == "telephone" or (story.prefers == "phone" and random.random() < 0.07):
        return Fate("telephone", random.randint(24, 48), called=random.random() < 0.6)
    if story.prefers == "paper" or random.random() < 0.04:
        return Fate("paper", random.randint(6, 26))
    first, last = random.choices(AFTER_WHICH_MESSAGE, (54, 22, 13, 11))[0]
    return Fate("phone", random.randint(first, last), _extra(random, TimepointCode.parse(code)))


def paper_lies_there(random: Random, story: PatientStory, code: str, ability: float) -> bool:
    """Whether a form of the old series was filled in and kept: as often as is answered now."""
    return random.random() < _share(TimepointCode.parse(code), ability) * story.willing


def _share(code: TimepointCode, ability: float) -> float:
    if code.is_before_surgery:
        return 0.92 if ability >= 2 else 0.84
    if code.year is None:
        return 0.8
    return (0.8 - 0.01 * code.year) * (CONTENT if ability >= ACCEPTABLE else UNHAPPY)


def _extra(random: Random, code: TimepointCode) -> dict[str, int | str]:
    """Now and then something that a person had to look at; long settled by today."""
    if code.unit == Unit.WEEK and random.random() < 0.04:
        return {f"early/{random.choice(('2', '3', '4', '5', '7'))}": 1}
    if code.year is not None and random.random() < 0.012:
        return {"since/9": 1, "since/9a": 1}
    if code.year is not None and random.random() < 0.01:
        return {f"since/{random.choice(('8', '10'))}": 1}
    if code.year is not None and random.random() < 0.025:
        return {"since/6": 1, "since/6a": f"+44 7700 900{random.randint(0, 999):03d}"}
    return {}
