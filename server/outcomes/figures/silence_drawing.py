"""Draws the figure about silence: each estimate as a dot with its limits on a ruler from 0 to 100 %, and the silence strip below."""

from server.outcomes.figures.fade import FULL
from server.outcomes.figures.silence_layout import (
    MARKS,
    RADIUS,
    THIN_RADIUS,
    TICK,
    Row,
    SilenceFigure,
    SilenceLayout,
    lay_out_silence,
)
from server.outcomes.figures.strip_drawing import draw_strip
from server.outcomes.figures.svg import element, line, picture, token


def draw_silence(figure: SilenceFigure, width: int) -> str:
    """An SVG of `width` pixels. Raises CountsDoNotAddUpProblem where a year of the strip does not hold everybody."""
    layout = lay_out_silence(figure, width)
    parts = [_row(row) for row in layout.rows]
    parts += [label.draw() for label in (*layout.labels, *(label for row in layout.rows for label in row.labels))]
    parts += [_axis(layout), draw_strip(layout.strip)]
    return picture(
        width, layout.strip.bottom, title=figure.title, description=figure.description, content="".join(parts)
    )


def _axis(layout: SilenceLayout) -> str:
    return layout.axis.draw() if layout.strip.bars else ""


def _row(row: Row) -> str:
    """The one to go by is full, others are hollow."""
    parts = [line(row.left, row.y, row.right, row.y, ink="coming")]
    parts += [line(row.x(mark / 100), row.y, row.x(mark / 100), row.y + TICK, ink="gone") for mark in MARKS]
    if row.weight is None:
        return "".join(parts)
    estimate, weight = row.estimate, row.weight
    parts.append(line(row.x(estimate.lower), row.y, row.x(estimate.upper), row.y, ink="ink", wide=weight.line))
    fill = "ink" if estimate.primary else "paper"
    radius = RADIUS if weight == FULL else THIN_RADIUS
    parts.append(
        element(
            "circle",
            cx=row.x(estimate.share),
            cy=row.y,
            r=radius,
            fill=token(fill),
            stroke=token("ink"),
            stroke_width=1.8,
        )
    )
    return "".join(parts)
