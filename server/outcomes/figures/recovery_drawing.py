"""Draws the figure of recovery."""

from server.outcomes.figures.recovery_layout import RecoveryFigure, WindowDot, lay_out_recovery
from server.outcomes.figures.svg import element, line, picture, token
from server.outcomes.figures.weeks_layout import PanelLayout, StepsLayout, Unknown
from server.outcomes.figures.years import AXIS_BEFORE, BEFORE_SURGERY


def draw_recovery(figure: RecoveryFigure, width: int) -> str:
    """An SVG of `width` pixels, laid out for that width."""
    layout = lay_out_recovery(figure, width)
    axis = layout.frame.axis
    left, right = axis.left - BEFORE_SURGERY - AXIS_BEFORE, layout.frame.end
    parts = [line(left, y, right, y, ink="ink" if y == layout.grid[0] else "rule") for y in layout.grid]
    parts += [_dot(dot) for dot in layout.dots]
    parts += [line(rule.left, rule.y, rule.right, rule.y, ink="rule") for rule in layout.rules]
    parts += [_steps(layout.steps)] if layout.steps else []
    parts += [label.draw() for label in (*layout.labels, *(layout.steps.labels if layout.steps else ()))]
    return picture(width, layout.height, title=figure.title, description=figure.description, content="".join(parts))


def _dot(dot: WindowDot) -> str:
    limits = line(dot.x, dot.lower, dot.x, dot.upper, ink="ink", wide=dot.weight.limits)
    return limits + element("circle", cx=dot.x, cy=dot.y, r=dot.size, fill=token("ink"))


def _steps(steps: StepsLayout) -> str:
    left, right = steps.left - BEFORE_SURGERY - AXIS_BEFORE, steps.right + 7
    parts = [_panel(panel, left, right) for panel in steps.panels]
    parts.append(line(left, steps.axis_y, right, steps.axis_y, ink="ink", wide=1.3))
    for x, high in steps.ticks:
        parts.append(line(x, steps.axis_y - high, x, steps.axis_y, ink="ink", wide=2.4 if high > 8 else 1))
    return "".join(parts)


def _panel(panel: PanelLayout, left: float, right: float) -> str:
    parts = [line(left, y, right, y, ink="rule") for y in panel.grid]
    parts += [_unknown(each) for each in panel.unknown]
    parts += [
        line(each.x1, each.y1, each.x2, each.y2, ink="ink", wide=each.weight.line)
        for each in panel.pieces
        if (each.x1, each.y1) != (each.x2, each.y2)
    ]
    return "".join(parts)


def _unknown(each: Unknown) -> str:
    box = each.box
    return element(
        "rect", x=box.left, y=box.top, width=box.right - box.left, height=box.bottom - box.top,
        fill=token("band"), fill_opacity=each.weight.band, stroke=token("gone"), stroke_width=1,
    )  # fmt: skip
