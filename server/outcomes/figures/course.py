"""What the course of a series is drawn from: panels of scores under one axis of years, the silence strip below them."""

from dataclasses import dataclass

from server.outcomes.figures.strip_layout import StripFigure


@dataclass(frozen=True)
class CoursePoint:
    """What was observed in one year; 0 is before surgery. `low` and `high` hold the middle half. Limits None where there are none."""

    year: int
    n: int
    mean: float
    low: float
    high: float
    lower: float | None = None
    upper: float | None = None


@dataclass(frozen=True)
class CoursePanel:
    """`scale`: "0–12, higher is better". `end`: the mean of the last year in words. `empty`: why nothing is drawn, where nothing is."""

    heading: str
    scale: str
    low: float
    high: float
    before: CoursePoint | None
    points: tuple[CoursePoint, ...]
    end: str
    empty: str = ""


@dataclass(frozen=True)
class CourseFigure:
    """`operation`, `band`, `mean`, `observed`: the words at the mark of the operation, the band, the line and the counts."""

    title: str
    description: str
    panels: tuple[CoursePanel, ...]
    strip: StripFigure
    years: str
    operation: str
    band: str
    mean: str
    observed: str
