"""Draws implant survival: two questions in two panels on one scale, with the watched under each."""

from collections.abc import Sequence

from server.outcomes.figures.survival import Step, SurvivalFigure, between
from server.outcomes.figures.survival_layout import LONG, SHORT, PanelLayout, Plot, lay_out_survival
from server.outcomes.figures.svg import element, line, picture, strokes, token

DASHES = "5 3"


def draw_survival(figure: SurvivalFigure, width: int) -> str:
    """An SVG of `width` pixels, laid out for that width."""
    layout = lay_out_survival(figure, width)
    parts = [part for panel in layout.panels for part in (*_panel(figure, panel),)]
    parts += [words.draw() for words in layout.words]
    said = " ".join(f"{panel.question} {' '.join(panel.answer)}" for panel in figure.panels)
    return picture(width, layout.height, title=figure.title, description=said, content="".join(parts))


def _panel(figure: SurvivalFigure, layout: PanelLayout) -> list[str]:
    plot, panel = layout.plot, layout.panel
    parts = [line(plot.left, y, plot.right, y, ink="rule") for y in layout.rules]
    for since, until, weight in figure.stretches():
        steps = between(panel.curve, since, until)
        parts.append(_band(steps, until, plot, weight.band))
    for since, until, weight in figure.stretches():
        dashed = (
            between([(time, share, None, None) for time, share in panel.beside], since, until) if panel.beside else []
        )
        parts.append(strokes(_stairs(dashed, until, plot), ink="gone", wide=weight.line - 0.7, dashes=DASHES))
        parts.append(strokes(_stairs(between(panel.curve, since, until), until, plot), ink="ink", wide=weight.line))
    return [*parts, *_answered(figure, layout), *_axis(layout)]


def _stairs(steps: Sequence[Step], until: float, plot: Plot) -> str:
    if not steps:
        return ""
    time, share, *_limits = steps[0]
    moves = f"M{plot.x(time):.2f} {plot.y(share):.2f}"
    moves += "".join(f"H{plot.x(at):.2f}V{plot.y(now):.2f}" for at, now, *_ in steps[1:])
    return f"{moves}H{plot.x(until):.2f}"


def _band(steps: Sequence[Step], until: float, plot: Plot, opacity: float) -> str:
    """Between the limits, from the first step that has any."""
    ends = [*(step[0] for step in steps[1:]), until]
    limited = [
        (time, end, lower, upper)
        for (time, _share, lower, upper), end in zip(steps, ends, strict=True)
        if lower is not None and upper is not None
    ]
    above = [(x, plot.y(upper)) for time, end, _lower, upper in limited for x in (plot.x(time), plot.x(end))]
    below = [(x, plot.y(lower)) for time, end, lower, _upper in limited for x in (plot.x(time), plot.x(end))]
    points = " ".join(f"{x:.2f},{y:.2f}" for x, y in (*above, *reversed(below)))
    return element("polygon", points=points, fill=token("band"), fill_opacity=opacity) if points else ""


def _answered(figure: SurvivalFigure, layout: PanelLayout) -> list[str]:
    """From the axis to the curve at the time of which the answer speaks."""
    share = between(layout.panel.curve, figure.start, figure.answered_at)[-1][1]
    x = layout.plot.x(figure.answered_at)
    return [line(x, layout.plot.y(share), x, layout.plot.bottom, ink="ink", wide=1.2, dashes="2 3")] if share else []


def _axis(layout: PanelLayout) -> list[str]:
    """A tick for each year, long at each fifth; the triangle is the operation."""
    plot = layout.plot
    parts = [line(plot.left - 5, plot.bottom, plot.right, plot.bottom, ink="ink", wide=1.5)]
    for year in range(int(plot.last) + 1):
        x, long = plot.x(year), year % 5 == 0
        parts.append(
            line(x, plot.bottom - (LONG if long else SHORT), x, plot.bottom, ink="ink", wide=2.6 if long else 1.4)
        )
    x, y = plot.left, plot.bottom + 9
    return [*parts, element("path", d=f"M{x - 5:.2f} {y:.2f}l5 -6l5 6z", fill=token("ink"))]
