"""The mixed model beside the course, in words. Only where the address asks for it, since it takes seconds."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from server.outcomes.series.course import Said
from server.outcomes.series.mixed_course import MixedCourse, mixed_course
from server.staff.page import words
from server.staff.series.course_figure import value_words
from server.staff.series.course_measures import Tracked
from server.words.phrase import Phrase, phrase

MIXED, YES = "mixed", "yes"
COVARIANCE: Mapping[str, Phrase] = {
    "intercept_and_slope": phrase("random intercept and slope, which may go together"),
    "intercept_and_slope_apart": phrase("random intercept and slope, each by itself"),
    "intercept": phrase("random intercept"),
}


@dataclass(frozen=True)
class ModelLine:
    score: str
    year: int
    observed: str
    model: str


@dataclass(frozen=True)
class ModelBeside:
    """`said`: of each score, which covariance was used and which were tried in vain."""

    said: tuple[str, ...]
    lines: tuple[ModelLine, ...]


def model_beside(panels: Sequence[Tracked], said: Said) -> ModelBeside:
    """Every score that is shown for two years or more."""
    sentences: list[str] = []
    lines: list[ModelLine] = []
    for each in panels:
        found = mixed_course(each.course, said)
        if found is not None:
            sentences.append(_said(each, found))
            lines += _lines(each, found)
    return ModelBeside(tuple(sentences), tuple(lines))


def _said(each: Tracked, found: MixedCourse) -> str:
    tried = words.listed([words.say(COVARIANCE[covariance]) for covariance in found.tried])
    if found.covariance is None:
        return words.gettext("%(score)s: no model is given, since none converged: %(tried)s.") % {
            "score": each.title, "tried": tried,
        }  # fmt: skip
    used = words.gettext("%(score)s, %(answers)s answers of %(people)s people: %(covariance)s.") % {
        "score": each.title,
        "answers": found.answers,
        "people": found.people,
        "covariance": words.say(COVARIANCE[found.covariance]),
    }
    failed = words.gettext("Did not converge: %(tried)s.") % {"tried": tried}
    return f"{used} {failed}" if found.tried else used


def _lines(each: Tracked, found: MixedCourse) -> Iterator[ModelLine]:
    for year, model in found.means.items():
        limits = words.gettext("%(value)s (%(lower)s to %(upper)s)") % {
            "value": value_words(each, model.mean),
            "lower": value_words(each, model.lower),
            "upper": value_words(each, model.upper),
        }
        yield ModelLine(each.title, year, value_words(each, each.course.shown[year].limits.mean), limits)
