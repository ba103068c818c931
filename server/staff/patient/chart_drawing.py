"""A person's course: small charts of several scales over one time axis, both shoulders, each operation marked.

Left is a circle on a solid line, right a square on a broken one, everywhere. A line is dotted where a planned timepoint between
two answers has none. Drawn twice, wide and narrow; the style sheet shows the one that fits. Points lead to their answers; they are
no stops of the tab key, since the lists beside the chart hold the same links in fewer of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from markupsafe import Markup, escape

from server.staff.page import words
from server.words import labels

YEAR_DAYS = 365.2425
PANEL = 128
GAP = 36
CLOSEST = 19
LETTER = 7.0  # the widest that a letter of the operations' words becomes, on average
CLOSEST_WORDS = 30
WORDS_ROW = 34
SIDES = ("left", "right")


@dataclass(frozen=True)
class Point:
    """`href` leads to the answers behind it; empty for none."""

    on: date
    value: float
    said: str  # "11, year 3, own phone"
    text: str  # "11"
    href: str = ""


@dataclass(frozen=True)
class Line:
    """One shoulder's values on one scale. `unanswered_on`: days of timepoints that asked for it and gave no value."""

    side: str
    points: tuple[Point, ...]
    unanswered_on: tuple[date, ...] = ()


@dataclass(frozen=True)
class Panel:
    """`href` leads to what the scale is; empty for none."""

    title: str
    note: str  # "0–12, higher is better"
    low: float
    high: float
    lines: tuple[Line, ...]
    href: str = ""


@dataclass(frozen=True)
class OperationMark:
    """A marked operation. `planned` is drawn hollow."""

    side: str
    on: date
    words: str
    planned: bool = False


@dataclass(frozen=True)
class StateMark:
    """One yes or no of the patient."""

    side: str
    on: date
    word: str
    href: str = ""


@dataclass(frozen=True)
class CourseChart:
    title: str
    panels: tuple[Panel, ...]
    operations: tuple[OperationMark, ...]
    words: tuple[StateMark, ...]
    words_title: str
    today: date


@dataclass(frozen=True)
class _Frame:
    """Where things lie. `narrow` puts a panel's title above it instead of beside it."""

    width: int
    left: int
    right: int
    narrow: bool
    first: date
    last: date

    def x(self, on: date) -> float:
        return round(self.left + (on - self.first).days / max(1, (self.last - self.first).days) * self.across, 1)

    @property
    def across(self) -> int:
        return self.width - self.left - self.right

    @property
    def end(self) -> int:
        return self.width - self.right


def draw_chart(course: CourseChart) -> Markup:
    """Two pictures with the same content, wide and narrow."""
    return _draw(course, narrow=False) + _draw(course, narrow=True)


def _draw(course: CourseChart, *, narrow: bool) -> Markup:
    frame = _frame(course, narrow)
    parts, top = _operations(course, frame)
    for panel in course.panels:
        top += 48 if narrow else 0
        parts += _panel(panel, course.operations, frame, top)
        top += PANEL + (20 if narrow else GAP)
    if course.words:
        top += 48 if narrow else 0
        parts += _words(course, frame, top)
        top += WORDS_ROW * len({said.side for said in course.words})
    parts += _axis(frame, top + 8)
    height = top + 36
    kind = "course-narrow" if narrow else "course-wide"
    return Markup(
        f'<svg class="course {kind}" role="group" viewBox="0 0 {frame.width} {height}" width="{frame.width}" height="{height}">'
        f"<title>{escape(course.title)}</title>{''.join(parts)}</svg>"
    )


def _frame(course: CourseChart, narrow: bool) -> _Frame:
    days = [point.on for panel in course.panels for line in panel.lines for point in line.points]
    days += [operated.on for operated in course.operations] + [course.today]
    first, last = min(days), max(days)
    room = max(60, (last - first).days // 40)
    first, last = date.fromordinal(first.toordinal() - room), date.fromordinal(last.toordinal() + room // 2)
    return _Frame(360, 26, 74, True, first, last) if narrow else _Frame(820, 168, 84, False, first, last)


def _operations(course: CourseChart, frame: _Frame) -> tuple[list[str], int]:
    """The triangles and their words, a row each where they would touch; returns how far down they reach."""
    parts: list[str] = []
    row_ends: list[float] = []
    for operated in sorted(course.operations, key=lambda each: (each.on, each.side)):
        x, wide = frame.x(operated.on), LETTER * len(operated.words)
        fits_after, fits_before = x + 10 + wide <= frame.width, x - 10 - wide >= 0
        begin = x + 10 if fits_after else x - 10 - wide if fits_before else max(0.0, frame.width - wide)
        row = next((number for number, end in enumerate(row_ends) if min(begin, x) > end + 12), len(row_ends))
        row_ends[row : row + 1] = [max(begin + wide, x + 6)]
        y = 8 + 20 * row
        parts.append(
            f'<text class="op-words {operated.side}" x="{begin:.1f}" y="{y + 8}">{escape(operated.words)}</text>'
        )
        if not fits_after and not fits_before:  # the words take a row of their own, the triangle the next
            row_ends.append(x + 6)
            y += 20
        hollow = " hollow" if operated.planned else ""
        parts.append(f'<path class="op {operated.side}{hollow}" d="M{x - 6} {y}h12l-6 8z"/>')
    return parts, 14 + 20 * len(row_ends)


def _panel(panel: Panel, operations: Sequence[OperationMark], frame: _Frame, top: int) -> list[str]:
    def y(value: float) -> float:
        return round(top + PANEL - (value - panel.low) / (panel.high - panel.low) * PANEL, 1)

    label_y = top - 28 if frame.narrow else top + 14
    note_y = top - 11 if frame.narrow else top + 34
    parts = [
        _linked(
            panel.href,
            words.gettext("%(scale)s: how it is scored") % {"scale": panel.title},
            f'<text class="panel" x="0" y="{label_y}">{escape(panel.title)}</text>',
        ),
        f'<text class="quiet" x="0" y="{note_y}">{escape(panel.note)}</text>',
        f'<line class="grid" x1="{frame.left}" x2="{frame.end}" y1="{y(panel.high)}" y2="{y(panel.high)}"/>',
        f'<line class="grid" x1="{frame.left}" x2="{frame.end}" y1="{y(panel.low)}" y2="{y(panel.low)}"/>',
        f'<line class="edge" x1="{frame.left}" x2="{frame.left}" y1="{top}" y2="{top + PANEL}"/>',
    ]
    for value in (panel.low, panel.high):
        parts.append(f'<text class="quiet" x="{frame.left - 8}" y="{y(value) + 4}" text-anchor="end">{value:g}</text>')
    for operated in operations:
        at = frame.x(operated.on)
        parts.append(f'<line class="op-line {operated.side}" x1="{at}" x2="{at}" y1="{top - 4}" y2="{top + PANEL}"/>')
    for line in panel.lines:
        parts += _line(line, [(frame.x(point.on), y(point.value)) for point in line.points])
    return parts + _ends(panel.lines, y, frame)


def _line(line: Line, at: list[tuple[float, float]]) -> list[str]:
    parts = []
    for number, (here, there) in enumerate(pairwise(at)):
        before, after = line.points[number].on, line.points[number + 1].on
        gap = " gap" if any(before < day < after for day in line.unanswered_on) else ""
        parts.append(
            f'<line class="run {line.side}{gap}" x1="{here[0]}" y1="{here[1]}" x2="{there[0]}" y2="{there[1]}"/>'
        )
    for point, (x, y) in zip(line.points, at, strict=True):
        title = f"<title>{escape(point.said)}</title>"
        if line.side == "left":
            shape = f'<circle class="dot left" cx="{x}" cy="{y}" r="4.6">{title}</circle>'
        else:
            shape = (
                f'<rect class="dot right" x="{x - 4.3:.1f}" y="{y - 4.3:.1f}" width="8.6" height="8.6">{title}</rect>'
            )
        parts.append(_linked(point.href, point.said, shape))
    return parts


def _linked(href: str, said: str, shape: str) -> str:
    if not href:
        return shape
    return f'<a href="{escape(href)}" tabindex="-1" aria-label="{escape(said)}">{shape}</a>'


def _ends(lines: Sequence[Line], y: object, frame: _Frame) -> list[str]:
    """The last value and the side in words, at the line's end and apart from each other."""
    assert callable(y)
    ends = sorted(((y(line.points[-1].value) + 5, line) for line in lines if line.points), key=lambda each: each[0])
    placed: list[float] = []
    for at, _line_there in ends:
        placed.append(max(at, placed[-1] + CLOSEST) if placed else at)
    return [
        _linked(
            line.points[-1].href,
            words.gettext("%(score)s %(side)s, the last answer")
            % {"score": line.points[-1].text, "side": words.say(labels.SIDE[line.side])},
            f'<text class="end {line.side}" x="{frame.end + 10}" y="{at:.1f}">{escape(line.points[-1].text)} {line.side}</text>',
        )
        for at, (_wanted, line) in zip(placed, ends, strict=True)
    ]


def _words(course: CourseChart, frame: _Frame, top: int) -> list[str]:
    """A mark for each answer at its time, full for yes and hollow for no; the word where there is room, and none like it just before."""
    title_y = top - 28 if frame.narrow else top + 14
    parts = [f'<text class="panel" x="0" y="{title_y}">{escape(course.words_title)}</text>']
    y = top + 14
    for side in SIDES:
        said = sorted((each for each in course.words if each.side == side), key=lambda one: one.on)
        if not said:
            continue
        last_x, last_word = -100.0, ""
        for each in said:
            x = frame.x(each.on)
            said_in_full = f"{side} {each.word}: {each.on.day} {each.on:%B %Y}"
            parts.append(_linked(each.href, said_in_full, _said_mark(each, said_in_full, x, y)))
            room = CLOSEST_WORDS * (4 if each.word == last_word else 1)
            if x - last_x >= room:
                parts.append(f'<text class="said {side}" x="{x}" y="{y - 10}" text-anchor="middle">{each.word}</text>')
                last_x, last_word = x, each.word
        parts.append(f'<text class="end {side}" x="{frame.end + 10}" y="{y + 5}">{side}</text>')
        y += WORDS_ROW
    return parts


def _said_mark(each: StateMark, said_in_full: str, x: float, y: int) -> str:
    title = f"<title>{escape(said_in_full)}</title>"
    hollow = "" if each.word == "yes" else " hollow"
    if each.side == "left":
        return f'<circle class="dot left{hollow}" cx="{x}" cy="{y}" r="4">{title}</circle>'
    return (
        f'<rect class="dot right{hollow}" x="{x - 3.6:.1f}" y="{y - 3.6:.1f}" width="7.2" height="7.2">{title}</rect>'
    )


def _axis(frame: _Frame, y: int) -> list[str]:
    """The year marks again: one for each January, tall every fifth year, numbers where there is room."""
    parts = [f'<line class="axis" x1="{frame.left}" x2="{frame.end}" y1="{y}" y2="{y}"/>']
    years = [date(year, 1, 1) for year in range(frame.first.year + 1, frame.last.year + 1)]
    per_year = frame.across / ((frame.last - frame.first).days / YEAR_DAYS)
    step = next((step for step in (1, 2, 5, 10) if step * per_year >= 44), 20)
    for on in years:
        x, tall = frame.x(on), on.year % 5 == 0
        parts.append(
            f'<line class="axis{" tall" if tall else ""}" x1="{x}" x2="{x}" y1="{y - (12 if tall else 7)}" y2="{y}"/>'
        )
        if on.year % step == 0:
            parts.append(f'<text class="quiet" x="{x}" y="{y + 19}" text-anchor="middle">{on.year}</text>')
    if not years:  # all lies within one
        for x, on, anchor in ((frame.left, frame.first, "start"), (frame.end, frame.last, "end")):
            parts.append(f'<text class="quiet" x="{x}" y="{y + 19}" text-anchor="{anchor}">{on:%B %Y}</text>')
    return parts
