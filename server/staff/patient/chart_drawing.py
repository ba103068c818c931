"""A person's course: small charts of several scales over one time axis, both shoulders, each operation marked.

Left is a circle on a solid line, right a square on a broken one, everywhere. A line is dotted where a planned timepoint between
two answers has none. Drawn twice for the page, wide and narrow, of which the style sheet shows the one that fits, and once for paper.
Points lead to their answers; they are no stops of the tab key, since the lists beside the chart hold the same links in fewer of them.
Colours are tokens in the attributes, for which print puts its own (server/outcomes/figures/README.md).
"""

from collections.abc import Sequence
from html import escape
from itertools import pairwise

from markupsafe import Markup

from server.outcomes.figures.svg import element, token
from server.staff.patient.chart_layout import (
    LETTERS,
    NARROW,
    PAPER,
    WIDE,
    Frame,
    Label,
    Layout,
    Room,
    lay_out,
    years_of,
)
from server.staff.patient.course import CourseChart, Line, OperationMark, Panel, SpacerMark, StateMark

RIGHT_DASHES = "9 4"
Attributes = dict[str, str | float]
At = tuple[float, float]


def draw_chart(course: CourseChart) -> Markup:
    """Two pictures with the same content, wide and narrow."""
    return Markup(_draw(course, WIDE, "course course-wide") + _draw(course, NARROW, "course course-narrow"))


def draw_for_paper(course: CourseChart) -> str:
    return _draw(course, PAPER, "course")


def _draw(course: CourseChart, room: Room, kind: str) -> str:
    layout = lay_out(course, room)
    frame, height = layout.frame, layout.height
    parts = [element("title", escape(course.title))]
    parts += [_triangle(each, x, y) for each, x, y in layout.triangles]
    for panel, top in zip(course.panels, layout.panels, strict=True):
        parts += [_spacer(each, frame, top) for each in course.spacers]
        parts += _panel(panel, course.operations, frame, top)
    for each in sorted(course.words, key=lambda one: one.on):
        parts.append(_state(each, frame.x(each.on), layout.rows[each.side]))
    parts += _axis(layout)
    parts += [_label(each) for each in layout.labels]
    size: Attributes = {"viewBox": f"0 0 {room.width} {height}", "width": room.width, "height": height}
    named = {"xmlns": "http://www.w3.org/2000/svg", "class": kind, "role": "group", "font_family": token("sans")}
    return element("svg", "".join(parts), **named, **size)


def _label(label: Label) -> str:
    letters = LETTERS[label.kind]
    ink = f"{label.side}-ink" if label.side else "soft" if label.kind == "quiet" else "ink"
    written: Attributes = {"font_size": letters.size, "fill": token(ink)}
    if letters.bold:
        written["font_weight"] = 600
    if label.kind == "panel":
        written["font_family"] = token("serif")
    if label.anchor != "start":
        written["text_anchor"] = label.anchor
    place: Attributes = {
        "class": f"{label.kind} {label.side}".strip(),
        "x": round(label.x, 1),
        "y": label.y,
    }
    return _linked(label.href, label.said, element("text", escape(label.text), **place, **written))


def _linked(href: str, said: str, shape: str) -> str:
    return element("a", shape, href=href, tabindex="-1", aria_label=said) if href else shape


def _titled(words: str) -> str:
    return element("title", escape(words))


def _triangle(operated: OperationMark, x: float, y: int) -> str:
    kind = {"class": f"op {operated.side}{' hollow' if operated.planned else ''}", "d": f"M{x - 6:g} {y}h12l-6 8z"}
    return element(
        "path", _titled(operated.words), **kind, **_filling(operated.side, hollow=operated.planned, wide=1.6)
    )


def _filling(side: str, *, hollow: bool, wide: float) -> Attributes:
    """Full in the colour of its shoulder, or its outline alone."""
    if hollow:
        return {"fill": token("paper"), "stroke": token(side), "stroke_width": wide}
    return {"fill": token(side)}


def _spacer(each: SpacerMark, frame: Frame, y: float) -> str:
    x, wide = frame.x(each.first), max(1.0, round(frame.x(each.last) - frame.x(each.first), 1))
    place: Attributes = {"class": f"spacer {each.side}", "x": x, "y": y, "width": wide}
    return element("rect", _titled(each.words), **place, height=frame.room.panel, fill=token("rule"), fill_opacity=0.6)


def _stroke(kind: str, here: At, there: At, ink: str, how: Attributes) -> str:
    place: Attributes = {"class": kind, "x1": here[0], "x2": there[0], "y1": here[1], "y2": there[1]}
    return element("line", "", **place, stroke=token(ink), **how)


def _panel(panel: Panel, operations: Sequence[OperationMark], frame: Frame, top: int) -> list[str]:
    low, high = frame.y(panel, top, panel.low), frame.y(panel, top, panel.high)
    parts = [
        _stroke("grid", (frame.left, high), (frame.end, high), "rule", {}),
        _stroke("grid", (frame.left, low), (frame.end, low), "rule", {}),
        _stroke("edge", (frame.left, high), (frame.left, low), "field", {}),
    ]
    for each in operations:
        at = frame.x(each.on)
        dotted: Attributes = {"stroke_width": 1.3, "stroke_dasharray": "2 3"}
        parts.append(_stroke(f"op-line {each.side}", (at, high - 4), (at, low), each.side, dotted))
    for line in panel.lines:
        parts += _line(line, [(frame.x(point.on), frame.y(panel, top, point.value)) for point in line.points])
    return parts


def _line(line: Line, at: list[At]) -> list[str]:
    parts = []
    for number, (here, there) in enumerate(pairwise(at)):
        before, after = line.points[number].on, line.points[number + 1].on
        gap = any(before < day < after for day in line.unanswered_on)
        kind = f"run {line.side}{' gap' if gap else ''}"
        parts.append(_stroke(kind, here, there, line.side, _run(line.side, gap=gap)))
    for point, (x, y) in zip(line.points, at, strict=True):
        parts.append(_linked(point.href, point.said, _dot(line.side, x, y, 4.6, point.said)))
    return parts


def _run(side: str, *, gap: bool) -> Attributes:
    if gap:
        return {"stroke_width": 2.8, "stroke_dasharray": "0.1 7", "stroke_linecap": "round"}
    return {"stroke_width": 2.4, **({"stroke_dasharray": RIGHT_DASHES} if side == "right" else {})}


def _state(each: StateMark, x: float, y: int) -> str:
    """Full for yes and hollow for no."""
    return _linked(each.href, each.said, _dot(each.side, x, y, 4, each.said, hollow=not each.yes))


def _dot(side: str, x: float, y: float, size: float, said: str, *, hollow: bool = False) -> str:
    """A circle for the left, a square of the same area to the eye for the right."""
    kind = {"class": f"dot {side}{' hollow' if hollow else ''}"}
    filling = _filling(side, hollow=hollow, wide=1.8)
    if side == "left":
        return element("circle", _titled(said), **kind, cx=x, cy=y, r=size, **filling)
    half = round(size * 0.93, 1)
    place = {"x": round(x - half, 1), "y": round(y - half, 1), "width": 2 * half, "height": 2 * half}
    return element("rect", _titled(said), **kind, **place, **filling)


def _axis(layout: Layout) -> list[str]:
    """The year marks again: one for each January, tall every fifth year."""
    frame, y = layout.frame, layout.axis
    parts = [_stroke("axis", (frame.left, y), (frame.end, y), "ink", {"stroke_width": 1.5})]
    for on in years_of(frame):
        x, tall = frame.x(on), on.year % 5 == 0
        kind, wide = ("axis tall", 2.5) if tall else ("axis", 1.5)
        parts.append(_stroke(kind, (x, y - (12 if tall else 7)), (x, y), "ink", {"stroke_width": wide}))
    return parts
