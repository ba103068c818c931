"""Draws the flow: the log as a ruler on which one tick is one operation, and under it in rows what fell off, at its place."""

from server.outcomes.figures.flow import FlowFigure, check_counts
from server.outcomes.figures.flow_layout import EDGE, FlowLayout, Row, lay_out_flow, longer_ticks
from server.outcomes.figures.flow_marks import draw_answered, draw_lost
from server.outcomes.figures.svg import line, picture


def draw_flow(flow: FlowFigure, width: int) -> str:
    """An SVG of `width` pixels, laid out for that width: 320 for a phone, 500 for a column of 85 mm.

    Raises CountsDoNotAddUpProblem where the counts contradict each other.
    """
    check_counts(flow)
    layout = lay_out_flow(flow, width)
    parts = [line(each.x, each.top, each.x, each.bottom, ink="coming", dashes="2 3") for each in layout.guides]
    parts += [*_rules(layout), *_ruler(layout)]
    parts += [_row(row, width) for row in layout.rows]
    parts += [words.draw() for words in layout.words]
    return picture(width, layout.height, title=flow.title, description=flow.sum, content="".join(parts))


def _rules(layout: FlowLayout) -> list[str]:
    lines = [line(EDGE, rule.y, rule.right, rule.y, ink="coming") for rule in layout.rules]
    ends = [line(rule.right, rule.y - 2, rule.right, rule.y + 6, ink="ink", wide=2) for rule in layout.rules]
    return lines + ends


def _ruler(layout: FlowLayout) -> list[str]:
    ruler = layout.ruler
    if not ruler.count:
        return []
    ticks = [line(x, ruler.top, x, ruler.bottom + below, ink="ink", wide=1.4) for x, below in longer_ticks(layout)]
    return [draw_answered(ruler), line(ruler.left, ruler.top, ruler.right, ruler.top, ink="ink"), *ticks]


def _row(row: Row, width: int) -> str:
    """Folded words above a row are underlined as far as the ruler reaches, so that its place on it is seen."""
    underlined = line(EDGE, row.band.bottom, width - EDGE, row.band.bottom, ink="coming") if row.under_words else ""
    return underlined + draw_lost(row.band, row.mark)
