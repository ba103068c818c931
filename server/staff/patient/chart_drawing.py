"""A person's course: small charts of several scales over one time axis, both shoulders, each operation marked.

Left is a circle on a solid line, right a square on a broken one, everywhere. A line is dotted where a planned timepoint between
two answers has none. Drawn twice, wide and narrow; the style sheet shows the one that fits. Points lead to their answers; they are
no stops of the tab key, since the lists beside the chart hold the same links in fewer of them.
"""

from collections.abc import Sequence
from itertools import pairwise

from markupsafe import Markup, escape

from server.staff.page import words
from server.staff.patient.chart_layout import PANEL, Frame, Label, Layout, lay_out, side_word, value_y, years_of
from server.staff.patient.course import CourseChart, Line, OperationMark, Panel, SpacerMark, StateMark


def draw_chart(course: CourseChart) -> Markup:
    """Two pictures with the same content, wide and narrow."""
    return _draw(course, lay_out(course, narrow=False)) + _draw(course, lay_out(course, narrow=True))


def _draw(course: CourseChart, layout: Layout) -> Markup:
    frame, height = layout.frame, layout.height
    parts = [_triangle(each, x, y) for each, x, y in layout.triangles]
    for panel, top in zip(course.panels, layout.panels, strict=True):
        parts += [_spacer(each, frame, value_y(panel, top, panel.high)) for each in course.spacers]
        parts += _panel(panel, course.operations, frame, top)
    for each in sorted(course.words, key=lambda one: one.on):
        parts.append(_state(each, frame.x(each.on), layout.rows[each.side]))
    parts += _axis(frame, layout.axis)
    parts += [_label(each) for each in layout.labels]
    kind = "course-narrow" if frame.narrow else "course-wide"
    return Markup(
        f'<svg class="course {kind}" role="group" viewBox="0 0 {frame.width} {height}" width="{frame.width}" height="{height}">'
        f"<title>{escape(course.title)}</title>{''.join(parts)}</svg>"
    )


def _label(label: Label) -> str:
    anchor = f' text-anchor="{label.anchor}"' if label.anchor != "start" else ""
    kind = f"{label.kind} {label.side}".strip()
    text = f'<text class="{kind}" x="{round(label.x, 1):g}" y="{label.y:g}"{anchor}>{escape(label.text)}</text>'
    return _linked(label.href, label.said, text)


def _linked(href: str, said: str, shape: str) -> str:
    if not href:
        return shape
    return f'<a href="{escape(href)}" tabindex="-1" aria-label="{escape(said)}">{shape}</a>'


def _triangle(operated: OperationMark, x: float, y: int) -> str:
    hollow = " hollow" if operated.planned else ""
    title = f"<title>{escape(operated.words)}</title>"
    return f'<path class="op {operated.side}{hollow}" d="M{x - 6:g} {y}h12l-6 8z">{title}</path>'


def _spacer(each: SpacerMark, frame: Frame, y: float) -> str:
    x, wide = frame.x(each.first), max(1.0, round(frame.x(each.last) - frame.x(each.first), 1))
    title = f"<title>{escape(each.words)}</title>"
    return f'<rect class="spacer {each.side}" x="{x}" y="{y:g}" width="{wide:g}" height="{PANEL}">{title}</rect>'


def _panel(panel: Panel, operations: Sequence[OperationMark], frame: Frame, top: int) -> list[str]:
    low, high = value_y(panel, top, panel.low), value_y(panel, top, panel.high)
    parts = [
        f'<line class="grid" x1="{frame.left}" x2="{frame.end}" y1="{high}" y2="{high}"/>',
        f'<line class="grid" x1="{frame.left}" x2="{frame.end}" y1="{low}" y2="{low}"/>',
        f'<line class="edge" x1="{frame.left}" x2="{frame.left}" y1="{high:g}" y2="{low:g}"/>',
    ]
    for operated in operations:
        at = frame.x(operated.on)
        parts.append(f'<line class="op-line {operated.side}" x1="{at}" x2="{at}" y1="{high - 4:g}" y2="{low:g}"/>')
    for line in panel.lines:
        parts += _line(line, [(frame.x(point.on), value_y(panel, top, point.value)) for point in line.points])
    return parts


def _line(line: Line, at: list[tuple[float, float]]) -> list[str]:
    parts = []
    for number, (here, there) in enumerate(pairwise(at)):
        before, after = line.points[number].on, line.points[number + 1].on
        gap = " gap" if any(before < day < after for day in line.unanswered_on) else ""
        parts.append(
            f'<line class="run {line.side}{gap}" x1="{here[0]}" y1="{here[1]}" x2="{there[0]}" y2="{there[1]}"/>'
        )
    for point, (x, y) in zip(line.points, at, strict=True):
        parts.append(_linked(point.href, point.said, _dot(line.side, x, y, 4.6, point.said)))
    return parts


def _state(each: StateMark, x: float, y: int) -> str:
    """Full for yes and hollow for no."""
    said = words.gettext("%(side)s %(answer)s: %(day)s") % {
        "side": side_word(each.side),
        "answer": each.word,
        "day": words.day(each.on),
    }
    kind = each.side if each.word == "yes" else f"{each.side} hollow"
    return _linked(each.href, said, _dot(kind, x, y, 4, said))


def _dot(kind: str, x: float, y: float, size: float, said: str) -> str:
    """A circle for the left, a square of the same area to the eye for the right."""
    title = f"<title>{escape(said)}</title>"
    if kind.startswith("left"):
        return f'<circle class="dot {kind}" cx="{x}" cy="{y}" r="{size}">{title}</circle>'
    half = round(size * 0.93, 1)
    place = f'x="{x - half:.1f}" y="{y - half:.1f}" width="{2 * half:.1f}" height="{2 * half:.1f}"'
    return f'<rect class="dot {kind}" {place}>{title}</rect>'


def _axis(frame: Frame, y: int) -> list[str]:
    """The year marks again: one for each January, tall every fifth year."""
    parts = [f'<line class="axis" x1="{frame.left}" x2="{frame.end}" y1="{y}" y2="{y}"/>']
    for on in years_of(frame):
        x, tall = frame.x(on), on.year % 5 == 0
        parts.append(
            f'<line class="axis{" tall" if tall else ""}" x1="{x}" x2="{x}" y1="{y - (12 if tall else 7)}" y2="{y}"/>'
        )
    return parts
