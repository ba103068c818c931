"""The course with the words of its drawing."""

from collections.abc import Sequence

from server.outcomes.figures.course import CourseFigure, CoursePanel, CoursePoint
from server.outcomes.series.course import Observed
from server.staff.page import words
from server.staff.series.asked import Asked
from server.staff.series.course_measures import FUNCTION, RATING, Tracked
from server.staff.series.strip_words import strip_figure


def course_figure(asked: Asked, panels: Sequence[Tracked], title: str) -> CourseFigure:
    """The panels over the silence strip."""
    any_before = any(each.course.before for each in panels)
    return CourseFigure(
        title=title,
        description=" ".join(_panel_said(each) for each in panels),
        panels=tuple(_panel(each) for each in panels),
        strip=strip_figure(asked.strip, asked.sentence),
        years=words.gettext("Years after surgery"),
        operation=words.gettext("operation; left of it, before surgery") if any_before else words.gettext("operation"),
        band=words.gettext("the middle half of the answers"),
        mean=words.gettext("mean with its limits"),
        observed=words.gettext("observed"),
    )


def value_words(each: Tracked, value: float) -> str:
    """A mean or a difference, with one decimal on a short scale and none on a scale to a hundred."""
    low, high = each.scale.range
    return number_words(value, 0 if high - low >= 100 else 1)


def number_words(value: float, digits: int) -> str:
    """With a true minus sign, and none before a zero."""
    return words.number(round(value, digits) + 0.0).replace("-", "\u2212")


def scale_words(each: Tracked) -> str:
    """The ends of the scale, and which of them is better."""
    low, high = (words.number(float(end)) for end in each.scale.range)
    if each.name == RATING:
        said = words.gettext("%(low)s–%(high)s %% of normal")
    elif each.scale.better == "higher":
        said = words.gettext("%(low)s–%(high)s, higher is better")
    else:
        said = words.gettext("%(low)s–%(high)s, lower is better")
    ends = said % {"low": low, "high": high}
    return f"{each.definition.title}: {ends}" if each.name == FUNCTION else ends


def _panel(each: Tracked) -> CoursePanel:
    course, measure = each.course, each.course.measure
    shown = course.shown
    end = (
        ""
        if not shown
        else words.gettext("%(value)s mean") % {"value": value_words(each, shown[max(shown)].limits.mean)}
    )
    return CoursePanel(
        each.title,
        scale_words(each),
        measure.low,
        measure.high,
        _point(0, course.before) if course.before is not None and shown else None,
        tuple(_point(year, observed) for year, observed in shown.items()),
        end,
        words.gettext("fewer than 20 answered in each year") if not shown else "",
    )


def _point(year: int, observed: Observed) -> CoursePoint:
    low, _median, high = observed.quartiles
    limits = observed.limits
    return CoursePoint(year, limits.n, limits.mean, low, high, limits.lower, limits.upper)


def _panel_said(each: Tracked) -> str:
    """For whoever hears the drawing."""
    means = [
        words.gettext("year %(year)s: %(mean)s") % {"year": year, "mean": value_words(each, observed.limits.mean)}
        for year, observed in each.course.shown.items()
    ]
    return f"{each.title}, {scale_words(each)}. {', '.join(means)}."
