"""Draws groups side by side: on one scale the value of each group with its limits, and under them the differences."""

from collections.abc import Callable, Sequence

from server.outcomes.figures.fade import Weight, weight_of
from server.outcomes.figures.groups import GroupsFigure
from server.outcomes.figures.groups_layout import TICK, PanelPlace, PlacedLine, Scale, lay_out_groups
from server.outcomes.figures.svg import element, line, picture, token

HALF = 6.5  # of a mark
END = 5  # how far the ends of limits reach up and down


def draw_groups(figure: GroupsFigure, width: int) -> str:
    """An SVG of `width` pixels, laid out for that width."""
    layout = lay_out_groups(figure, width)
    parts = [part for panel in layout.panels for part in _panel(panel)]
    parts += [label.draw() for label in layout.labels]
    said = " ".join(f"{panel.title}: {'; '.join(each.words for each in panel.lines)}." for panel in figure.panels)
    return picture(width, layout.height, title=figure.title, description=said, content="".join(parts))


def _panel(place: PanelPlace) -> list[str]:
    scale, zero = place.scale, place.scale.x(0)
    parts = [line(scale.left, place.bottom, scale.right, place.bottom, ink="ink")]
    for value, _text in place.panel.ticks:
        x = scale.x(value)
        parts.append(line(x, place.bottom, x, place.bottom + TICK, ink="ink"))
    if place.top < place.bottom:
        parts.append(line(zero, place.top, zero, place.bottom, ink="gone", dashes="2 3"))
    return parts + [part for each in place.lines for part in _line(each, scale)]


def _line(placed: PlacedLine, scale: Scale) -> list[str]:
    each, weight = placed.line, weight_of(placed.line.n)
    if each.value is None or weight is None:
        return []
    parts = []
    if each.lower is not None and each.upper is not None:
        parts = _limits(scale.x(each.lower), scale.x(each.upper), placed.y, weight, dashed=each.mark is None)
    x = scale.x(each.value)
    if each.mark is None:
        return [*parts, line(x, placed.y - HALF, x, placed.y + HALF, ink="ink", wide=weight.line + 1)]
    return [*parts, SHAPES[each.mark](x, placed.y)]


def _limits(left: float, right: float, y: float, weight: Weight, *, dashed: bool) -> list[str]:
    dashes = "5 3" if dashed else ""
    ends = [line(x, y - END, x, y + END, ink="ink", wide=weight.limits) for x in (left, right)]
    return [line(left, y, right, y, ink="ink", wide=weight.line, dashes=dashes), *ends]


def _closed(points: Sequence[tuple[float, float]], *, filled: bool) -> str:
    moves = "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points) + "Z"
    return element("path", d=moves, fill=token("ink" if filled else "paper"), stroke=token("ink"), stroke_width=1.8)


def _diamond(x: float, y: float) -> list[tuple[float, float]]:
    return [(x, y - HALF - 1), (x + HALF + 1, y), (x, y + HALF + 1), (x - HALF - 1, y)]


def _triangle(x: float, y: float) -> list[tuple[float, float]]:
    return [(x, y - HALF), (x + HALF, y + HALF - 1), (x - HALF, y + HALF - 1)]


# Told apart by shape and filling, so that a print in grey says the same.
SHAPES: tuple[Callable[[float, float], str], ...] = (
    lambda x, y: _closed(_diamond(x, y), filled=True),
    lambda x, y: _closed(_diamond(x, y), filled=False),
    lambda x, y: _closed(_triangle(x, y), filled=True),
    lambda x, y: _closed(_triangle(x, y), filled=False),
)
