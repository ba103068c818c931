"""The mixed model beside the course: it imputes past death, which is why it is never the answer."""

from random import Random
from typing import Any

from server.outcomes.series.course import Measure, course_of, said_in
from server.outcomes.series.followed import Followed, Point
from server.outcomes.series.mixed_course import MixedCourse, mixed_course
from server.outcomes.series.sentence import Sentence
from server.outcomes.series.strip import strip_of
from server.schedule.dates import anniversary
from tests.outcomes.series.followed_case import SURGERY, answered, followings, shoulder


def rated(year: int, value: float) -> Point:
    scores: dict[str, Any] = {"sane@1/sane": value}
    return answered(year, **scores)


def beside(*shoulders: Followed) -> tuple[MixedCourse | None, dict[int, float]]:
    """The model, and the observed means that the course shows."""
    read = followings(shoulders)
    strip = strip_of(read, read.record.rows, Sentence())
    said = said_in(strip)
    course = course_of(read, strip, said, Measure("sane@1/sane", 0, 100, higher_is_better=True))
    return mixed_course(course, said), {year: each.limits.mean for year, each in course.shown.items()}


def declining(chance: Random) -> Followed:
    """Whoever stands low dies early, so that the living stand higher from year to year."""
    level = chance.gauss(75, 12)
    last = 5 if level > 70 else 2
    points = [rated(year, min(100, max(0, level + chance.gauss(0, 4)))) for year in range(1, last + 1)]
    return shoulder(*points, died=None if last == 5 else anniversary(SURGERY, 2).replace(month=9))


def test_the_model_lies_below_the_living_where_those_who_stood_low_die() -> None:
    chance = Random(5)
    model, observed = beside(*(declining(chance) for _each in range(60)))

    assert (
        model is not None
        and model.covariance is not None
        and sorted(model.means) == sorted(observed) == [1, 2, 3, 4, 5]
    )
    assert abs(model.means[1].mean - observed[1]) < 0.5
    assert model.means[5].mean < observed[5] - 3
    assert model.means[5].lower < model.means[5].mean < model.means[5].upper


def test_one_year_has_no_model() -> None:
    assert beside(*(shoulder(rated(1, 50 + number)) for number in range(20)))[0] is None
