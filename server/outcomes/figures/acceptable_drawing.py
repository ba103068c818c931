"""Draws the figure of the acceptable state."""

from server.outcomes.figures.acceptable_layout import (
    SAMPLE,
    AcceptableFigure,
    AcceptableLayout,
    Dot,
    DrawnLine,
    lay_out_acceptable,
)
from server.outcomes.figures.fade import FULL
from server.outcomes.figures.strip_drawing import draw_strip
from server.outcomes.figures.svg import element, line, picture, token
from server.outcomes.figures.years import BEFORE_SURGERY

DASHES = "5 4"


def draw_acceptable(figure: AcceptableFigure, width: int) -> str:
    """An SVG of `width` pixels, laid out for that width."""
    layout = lay_out_acceptable(figure, width)
    parts = [*_grid(layout), *(_line(each) for each in reversed(layout.lines)), *_samples(layout)]
    parts += [label.draw() for label in layout.labels]
    parts += [layout.axis.draw(), draw_strip(layout.strip)]
    return picture(width, layout.height, title=figure.title, description=figure.description, content="".join(parts))


def _grid(layout: AcceptableLayout) -> list[str]:
    axis = layout.frame.axis
    return [line(axis.left - BEFORE_SURGERY, y, axis.right + 7, y, ink="rule") for y in layout.grid]


def _line(drawn: DrawnLine) -> str:
    """The level is thin, dashed and hollow at every weight, so that it is never taken for the answer."""
    parts = []
    if not drawn.by_level:
        parts += [
            line(dot.x, dot.lower, dot.x, dot.upper, ink="ink", wide=dot.weight.limits)
            for dot in drawn.dots
            if dot.lower is not None and dot.upper is not None
        ]
    for before, after, weight in drawn.joins:
        how = ("gone", 1.4, DASHES) if drawn.by_level else ("ink", weight.line, "")
        parts.append(line(before.x, before.y, after.x, after.y, ink=how[0], wide=how[1], dashes=how[2]))
    return "".join((*parts, *(_dot(dot, drawn.by_level) for dot in drawn.dots)))


def _dot(dot: Dot, by_level: bool) -> str:
    return _circle(dot.x, dot.y, dot.size, by_level)


def _circle(x: float, y: float, size: float, by_level: bool) -> str:
    if by_level:
        return element("circle", cx=x, cy=y, r=3.2, fill=token("paper"), stroke=token("gone"), stroke_width=1.4)
    return element("circle", cx=x, cy=y, r=size, fill=token("ink"))


def _samples(layout: AcceptableLayout) -> list[str]:
    found = []
    for x, y, by_level in layout.samples:
        how = ("gone", 1.4, DASHES) if by_level else ("ink", FULL.line, "")
        found.append(line(x, y, x + SAMPLE, y, ink=how[0], wide=how[1], dashes=how[2]))
        found.append(_circle(x + SAMPLE / 2, y, 4.2, by_level))
    return found
