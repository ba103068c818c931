"""Draws the course: in each panel the band of the middle half, the mean with its limits, and the counts; under all the silence strip."""

from collections.abc import Iterator

from server.outcomes.figures.course import CourseFigure
from server.outcomes.figures.course_layout import CourseLayout, PanelLayout, Spot, lay_out_course
from server.outcomes.figures.fade import Weight
from server.outcomes.figures.fillings import move
from server.outcomes.figures.strip_drawing import draw_strip
from server.outcomes.figures.svg import element, line, picture, strokes, token

TRIANGLE = 6
BEFORE_BAND = 4  # half as wide as the box of the middle half before surgery


def draw_course(figure: CourseFigure, width: int) -> str:
    """An SVG of `width` pixels. Raises CountsDoNotAddUpProblem where a year of the strip does not hold everybody."""
    layout = lay_out_course(figure, width)
    parts = [_operation(layout), *(_panel(panel, layout.frame.axis.left) for panel in layout.panels)]
    # Pale and dotted: as a plain line it would be read as limits.
    parts += [
        line(each.x, each.top, each.x, each.bottom, ink="coming", wide=0.8, dashes="1 3") for each in layout.leaders
    ]
    parts += [label.draw() for label in (*layout.labels, *(label for panel in layout.panels for label in panel.labels))]
    parts += [layout.axis.draw(), draw_strip(layout.strip)]
    return picture(
        width, layout.strip.bottom, title=figure.title, description=figure.description, content="".join(parts)
    )


def _operation(layout: CourseLayout) -> str:
    x, y = layout.frame.axis.left, layout.operation
    return element("path", d=f"M{x - TRIANGLE:g} {y:g}h{2 * TRIANGLE}l-{TRIANGLE} 8z", fill=token("ink"))


def _panel(panel: PanelLayout, surgery: float) -> str:
    parts = [line(panel.left, panel.top, panel.left, panel.bottom, ink="coming")]
    parts += [line(surgery, panel.top - 4, surgery, panel.bottom, ink="ink", wide=1.2, dashes="2 3")]
    parts += _bands(panel)
    if panel.before is not None and panel.spots and panel.spots[0].point.year == 1:
        first, then = panel.before, panel.spots[0]
        parts.append(line(first.x, first.y, then.x, then.y, ink="ink", wide=_thinner(first, then).line, dashes="1 5"))
    parts += [line(one.x, one.y, two.x, two.y, ink="ink", wide=_thinner(one, two).line) for one, two in panel.joined]
    parts += [_spot(each) for each in ((panel.before,) if panel.before else ()) + panel.spots]
    return "".join(parts)


def _bands(panel: PanelLayout) -> Iterator[str]:
    """Between neighbours; alone, as before surgery, a box."""
    joined = {id(spot) for pair in panel.joined for spot in pair}
    for spot in (*((panel.before,) if panel.before else ()), *panel.spots):
        if id(spot) not in joined:
            high, low = spot.band
            yield _filled(
                f"M{spot.x - BEFORE_BAND:.1f} {high:.1f}h{2 * BEFORE_BAND}V{low:.1f}h-{2 * BEFORE_BAND}z", spot.weight
            )
    for one, two in panel.joined:
        path = move(one.x, one.band[0], two.x, two.band[0])
        yield _filled(f"{path}L{two.x:.1f} {two.band[1]:.1f}L{one.x:.1f} {one.band[1]:.1f}z", _thinner(one, two))


def _filled(path: str, weight: Weight) -> str:
    return element("path", d=path, fill=token("band"), fill_opacity=weight.band)


def _thinner(one: Spot, other: Spot) -> Weight:
    return min(one.weight, other.weight, key=lambda weight: weight.line)


def _spot(spot: Spot) -> str:
    limits = (
        ""
        if spot.limits is None
        else strokes(move(spot.x, spot.limits[0], spot.x, spot.limits[1]), ink="ink", wide=spot.weight.limits)
    )
    return limits + element("circle", cx=spot.x, cy=spot.y, r=spot.radius, fill=token("ink"))
