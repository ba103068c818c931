"""Draws two shoulders of each person: a line is a person, the shape of a mark is the side, and a dashed line leads to the lower rating."""

from server.outcomes.figures.fade import FULL, THIN
from server.outcomes.figures.flow_marks import Band, draw_answered, draw_lost
from server.outcomes.figures.preference import PreferenceFigure, Tick
from server.outcomes.figures.preference_layout import (
    BAR,
    MARK,
    TICK,
    ColumnLayout,
    KeyLayout,
    RulerLayout,
    lay_out_preference,
)
from server.outcomes.figures.svg import element, line, picture, strokes, token

DASHES = "4 3"
LONG_DASH = 26


def draw_preference(figure: PreferenceFigure, width: int) -> str:
    """An SVG of `width` pixels, laid out for that width."""
    layout = lay_out_preference(figure, width)
    parts = [part for column in layout.columns for part in _column(column)]
    parts += [_key(each) for each in layout.key]
    parts += [_tick(band, tick) for band, tick in layout.people.bands]
    parts += _ruler(layout.ruler) if layout.ruler is not None else []
    parts += [label.draw() for label in layout.labels]
    parts += [column.words.draw() for column in layout.columns]
    said = "; ".join(f"{column.count} {column.words}" for column in figure.columns)
    return picture(width, layout.height, title=figure.title, description=said, content="".join(parts))


def _column(layout: ColumnLayout) -> list[str]:
    first, second = layout.ends
    parts = [
        line(layout.left, layout.y(at), layout.right, layout.y(at), ink="rule")
        for at in (0, layout.best / 2, layout.best)
    ]
    moves: dict[bool, str] = {False: "", True: ""}
    for each in layout.column.lines:
        moves[each.falls] += f"M{first:.2f} {layout.y(each.first):.2f}L{second:.2f} {layout.y(each.second):.2f}"
    parts += [strokes(moves[False], ink="ink", wide=1.3), strokes(moves[True], ink="ink", wide=1.3, dashes=DASHES)]
    for each in layout.column.lines:
        parts += [
            _mark(each.first_side, first, layout.y(each.first)),
            _mark(each.second_side, second, layout.y(each.second)),
        ]
    return parts


def _mark(side: str, x: float, y: float) -> str:
    """A circle is left, a square right; with a rim of paper, so that marks on each other stay apart."""
    fill, paper = token(side), token("paper")
    if side == "left":
        return element("circle", cx=x, cy=y, r=MARK, fill=fill, stroke=paper, stroke_width=0.8)
    corner, length = (x - MARK, y - MARK), 2 * MARK
    return element(
        "rect", x=corner[0], y=corner[1], width=length, height=length, fill=fill, stroke=paper, stroke_width=0.8
    )


def _key(layout: KeyLayout) -> str:
    label = layout.label
    y = label.y - 5
    if layout.kind == "line":
        return line(label.x - 8 - LONG_DASH, y, label.x - 8, y, ink="ink", wide=1.3, dashes=DASHES)
    return _mark(layout.kind, label.x - 10, y) if layout.kind else ""


def _tick(band: Band, tick: Tick) -> str:
    """Who was asked and left it open is dotted, as what was missed is everywhere; the ticks of no difference are short."""
    if tick == "silent":
        return draw_lost(band, "missed")
    return draw_answered(band) + line(band.left, band.bottom, band.right, band.bottom, ink="soft")


def _ruler(layout: RulerLayout) -> list[str]:
    """The limits as a bar, the estimate as a thick stroke, on a ruler from none to all."""
    weight, bar = FULL if layout.ruler.full else THIN, layout.bar
    at = layout.x(layout.ruler.share)
    parts = [
        element("rect", x=bar.left, y=bar.top, width=bar.right - bar.left, height=bar.bottom - bar.top, fill=token("band"),
                fill_opacity=weight.band, stroke=token("gone"), stroke_width=1),
        line(layout.left, layout.y, layout.right, layout.y, ink="ink", wide=1.2),
        line(at, layout.y - BAR / 2, at, layout.y + BAR / 2, ink="ink", wide=weight.line + 1),
    ]  # fmt: skip
    for tenth in range(11):
        long = TICK if tenth in (0, 5, 10) else TICK / 2
        parts.append(line(layout.x(tenth / 10), layout.y, layout.x(tenth / 10), layout.y + long, ink="ink"))
    return parts
