"""What was known of a shoulder before a window opened, by which the silent are compared with those who answered, and weighted."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.outcomes.series.followed import Answer, Followed, Point
from server.outcomes.series.row import Row
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.silence_sampled import stated
from server.outcomes.series.strip import YEARS, wanted_answer
from server.schedule.status import ANSWERED
from server.schedule.timepoint_code import BEFORE_SURGERY

# In this order they are taken for the weights: first what tells most about who will answer.
KNOWN_BEFORE = ("answered_before", "acceptable_before", "age", "female", "surgery_year")
# So wide that many people fall into one: people of whom the same was known are reckoned once.
_STEPS = {"answered_before": 0.5, "acceptable_before": 0.25, "age": 10, "female": 0.5, "surgery_year": 5}


@dataclass(frozen=True)
class Known:
    """None where it was not known. `answered_before`: the last form due before; `acceptable_before`: the last answer to the question."""

    row: Row
    answered_before: bool
    acceptable_before: bool | None

    def value(self, name: str) -> float | None:
        """By a name of KNOWN_BEFORE, yes as 1."""
        found = {
            "answered_before": self.answered_before,
            "acceptable_before": self.acceptable_before,
            "age": self.row.age,
            "female": None if self.row.sex is None else self.row.sex == "female",
            "surgery_year": self.row.surgery_on.year,
        }[name]
        return None if found is None else float(found)

    def predictors(self, middle: Mapping[str, float]) -> tuple[float, ...]:
        """`middle`: what counts where it was not known."""
        values = ((name, self.value(name)) for name in KNOWN_BEFORE)
        return tuple((middle[name] if value is None else value) // _STEPS[name] for name, value in values)


def known_before(shoulder: Followed, year: int, sentence: Sentence, questions: tuple[str, ...]) -> Known:
    """Of answers only those given before the window of that year opened."""
    opens_on = shoulder.points[YEARS[year]].opens_on
    before = sorted((each for each in shoulder.points.values() if each.due_on < opens_on), key=lambda each: each.due_on)
    answers = [_answer(each, sentence) for each in before]
    said = [stated(each, questions) for each in answers if each is not None and each.on < opens_on]
    last = next((each for each in reversed(said) if each is not None), None)
    answered = bool(answers) and answers[-1] is not None and answers[-1].on < opens_on
    return Known(shoulder.row, answered, last)


def _answer(point: Point, sentence: Sentence) -> Answer | None:
    """Before surgery in whatever way it was asked."""
    return (
        point.answer
        if point.code == str(BEFORE_SURGERY) and point.status in ANSWERED
        else wanted_answer(point, sentence)
    )
