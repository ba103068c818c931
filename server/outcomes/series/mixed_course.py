"""The course by a mixed model: where the means would stand as if nobody had died or been revised. Beside the answer, never in its place.

From the same answers and years as the course. A mean for each year, so that no shape of the course is supposed; random effects by person,
whose two shoulders share them. Limits by the normal distribution.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import NormalDist

from server.outcomes.arithmetic.mixed import COVARIANCES, MixedFit, fit_mixed
from server.outcomes.series.course import Course, Said

YEARS_IN_A_SLOPE = (
    10  # the slope runs by ten years, so that both random effects are of a size and the search finds them
)
LEAST_YEARS = 2


@dataclass(frozen=True)
class ModelMean:
    mean: float
    lower: float
    upper: float


@dataclass(frozen=True)
class MixedCourse:
    """`covariance` is None where none converged; then there are no means. `tried`: which did not."""

    means: Mapping[int, ModelMean]
    answers: int
    people: int
    covariance: str | None
    tried: tuple[str, ...]


def mixed_course(course: Course, said: Said) -> MixedCourse | None:
    """Over the years that the course shows; None where these are fewer than two."""
    years = sorted(course.shown)
    if len(years) < LEAST_YEARS:
        return None
    known = [(year, row.patient_id, value) for year in years for row, value in said.values(course.measure, year)]
    fit = fit_mixed(
        [value for _year, _person, value in known],
        [[float(year == each) for each in years] for year, _person, _value in known],
        [person for _year, person, _value in known],
        [year / YEARS_IN_A_SLOPE for year, _person, _value in known],
    )
    people = len({person for _year, person, _value in known})
    if fit is None:
        return MixedCourse({}, len(known), people, None, COVARIANCES)
    return MixedCourse(dict(zip(years, _means(fit), strict=True)), len(known), people, fit.covariance, fit.tried)


def _means(fit: MixedFit) -> list[ModelMean]:
    z = NormalDist().inv_cdf(0.975)
    return [ModelMean(mean, mean - z * se, mean + z * se) for mean, se in zip(fit.fixed, fit.se, strict=True)]
