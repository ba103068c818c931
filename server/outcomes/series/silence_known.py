"""What was known of a shoulder before a window opened, by which the silent are compared with those who answered, and weighted."""

from collections.abc import Sequence

from server.outcomes.series.followed import Answer, Followed, Point
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.silence_sampled import stated
from server.outcomes.series.strip import YEARS, wanted_answer
from server.schedule.status import ANSWERED
from server.schedule.timepoint_code import BEFORE_SURGERY

# In this order they are taken for the weights: first what tells most about who will answer. `answered_before`: the last form due before;
# `acceptable_before`: the last answer to the question.
KNOWN_BEFORE = ("answered_before", "acceptable_before", "age", "female", "surgery_year")
# So wide that many people fall into one: people of whom the same was known are reckoned once.
_STEPS = (0.5, 0.25, 10, 0.5, 5)
Known = tuple[float | None, ...]  # by KNOWN_BEFORE, yes as 1; None where it was not known


def predictors(known: Known, middle: Sequence[float]) -> tuple[float, ...]:
    """`middle`: what counts where something was not known."""
    values = zip(known, middle, _STEPS, strict=True)
    return tuple((usual if value is None else value) // step for value, usual, step in values)


def known_before(shoulder: Followed, year: int, sentence: Sentence, questions: tuple[str, ...]) -> Known:
    """Of answers only those given before the window of that year opened."""
    row, opens_on = shoulder.row, shoulder.points[YEARS[year]].opens_on
    before = sorted((each for each in shoulder.points.values() if each.due_on < opens_on), key=lambda each: each.due_on)
    answers = [_answer(each, sentence) for each in before]
    said = (stated(each, questions) for each in reversed(answers) if each is not None and each.on < opens_on)
    last = next((each for each in said if each is not None), None)
    answered = bool(answers) and answers[-1] is not None and answers[-1].on < opens_on
    female = None if row.sex is None else float(row.sex == "female")
    return float(answered), None if last is None else float(last), row.age, female, row.surgery_on.year


def _answer(point: Point, sentence: Sentence) -> Answer | None:
    """Before surgery in whatever way it was asked."""
    return (
        point.answer
        if point.code == str(BEFORE_SURGERY) and point.status in ANSWERED
        else wanted_answer(point, sentence)
    )
