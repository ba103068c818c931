"""The course of an invented clinic; and courses by chance, of any length and of long or short words."""

from functools import partial

from hypothesis import strategies as st

from server.outcomes.figures.course import CourseFigure, CoursePanel, CoursePoint
from tests.outcomes.figures.strip_case import COUNTS, strip_figure, strips

FUNCTION = (9.4, 10.1, 10.3, 10.4, 10.3, 10.2, 10.1, 10.0, 9.8, 9.6, 9.6, 9.4, 9.0, 8.9, 8.7)
PAIN = (2.3, 1.5, 1.3, 1.2, 1.3, 1.3, 1.4, 1.5, 1.7, 1.8, 1.9, 2.0, 2.2, 2.3, 2.5)
RATING = (78.0, 86, 87, 88, 88, 87, 86, 85, 84, 82, 81, 80, 77, 75, 74)


def panel(heading: str, scale: str, means: tuple[float, ...], high: float, before: float, end: str) -> CoursePanel:
    half = high / 8
    counts = COUNTS["answered"]
    points = [
        CoursePoint(year, n, mean, max(0, mean - half), min(high, mean + half), mean - high / n**0.5 / 4, mean + high / n**0.5 / 4)
        for year, (mean, n) in enumerate(zip(means, counts, strict=True), start=1)
    ]  # fmt: skip
    first = CoursePoint(0, 246, before, before - half, before + half, before - half / 6, before + half / 6)
    return CoursePanel(heading, scale, 0, high, first, tuple(points), end)


def course_figure() -> CourseFigure:
    return CourseFigure(
        title="How do these shoulders do, while alive and not revised?",
        description="Course of function, pain and own rating by year",
        panels=(
            panel("Function", "0–12, higher is better", FUNCTION, 12, 3.7, "8.7 mean"),
            panel("Pain", "0–10, lower is better", PAIN, 10, 6.8, "2.5 mean"),
            panel("Own rating", "0–100 % of normal", RATING, 100, 37, "74 mean"),
        ),
        strip=strip_figure(),
        years="Years after surgery",
        operation="operation; the mark left of it is before surgery",
        band="the middle half of the answers",
        mean="mean with its limits",
        observed="observed",
    )


@st.composite
def courses(draw: st.DrawFn) -> CourseFigure:
    strip = draw(strips())
    last = len(strip.years)
    panels = []
    for heading in draw(
        st.lists(st.sampled_from(["Function", "Pain", "Valoración propia del hombro"]), min_size=1, max_size=3)
    ):
        high = draw(st.sampled_from([1.0, 12.0, 100.0]))
        share = st.integers(0, 1000).map(partial(_of_scale, high))
        points = [
            _point(draw, year, share) for year in range(1, draw(st.integers(0, last)) + 1) if draw(st.integers(0, 5))
        ]
        before = _point(draw, 0, share) if draw(st.booleans()) else None
        end = draw(st.sampled_from(["8.7 mean", "media 74,3"])) if points else ""
        empty = "" if points else "fewer than twenty answered in each year"
        scale = draw(st.sampled_from(["0–12, higher is better", "de 0 a 100 por ciento de lo que sería normal"]))
        panels.append(CoursePanel(heading, scale, 0, high, before, tuple(points), end, empty))
    words = draw(
        st.sampled_from(
            [
                "operation; the mark left of it is before surgery",
                "operación; la marca a su izquierda es de antes de la cirugía",
            ]
        )
    )
    return CourseFigure(
        "Course",
        "By year",
        tuple(panels),
        strip,
        "Years after surgery",
        words,
        "the middle half",
        "mean with its limits",
        "observed",
    )


def _of_scale(high: float, thousandths: int) -> float:
    return high * thousandths / 1000


def _point(draw: st.DrawFn, year: int, share: st.SearchStrategy[float]) -> CoursePoint:
    low, mean, high = sorted(draw(st.tuples(share, share, share)))
    limits = draw(st.booleans())
    n = draw(st.integers(0, 60) | st.integers(0, 2_000))
    return CoursePoint(year, n, mean, low, high, mean - 1 if limits else None, mean + 1 if limits else None)
