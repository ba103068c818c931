"""Where things lie in the picture of a person's course: every word has a box, no box touches another, and none leaves the picture.

Laid out anew for narrow windows, not made smaller: a title then stands above its panel instead of beside it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from server.outcomes.figures.label_boxes import ASCENT, DESCENT, Box, Letters, apart, cut, fold
from server.staff.page import words
from server.staff.patient.course import CourseChart, Line, OperationMark, Panel, StateMark
from server.words import labels

YEAR_DAYS = 365.2425
PANEL = 128
GAP = 36
NARROW_GAP = 24
WORDS_ROW = 34
WORDS_TITLE = 56  # two lines of it
ROW = 20  # of the operations' words
YEARS_APART = 44
SIDES = ("left", "right")
# As in pages.css, class by class.
LETTERS = {
    "op-words": Letters(13.5),
    "panel": Letters(19, bold=True),
    "quiet": Letters(13),
    "end": Letters(15, bold=True),
    "said": Letters(13, bold=True),
}
ALIKE_APART = 120  # between two words of one row that say the same


@dataclass(frozen=True)
class Label:
    """Words at a place: `x` and the line on which they stand, `y`. `href` and `said` as for a point; empty for plain words."""

    kind: str  # one of LETTERS
    text: str
    x: float
    y: float
    side: str = ""
    anchor: str = "start"
    href: str = ""
    said: str = ""

    @property
    def box(self) -> Box:
        letters = LETTERS[self.kind]
        wide = letters.width(self.text)
        left = self.x - {"start": 0, "middle": wide / 2, "end": wide}[self.anchor]
        return Box(left, self.y - ASCENT * letters.size, left + wide, self.y + DESCENT * letters.size)


@dataclass(frozen=True)
class Frame:
    """`left` and `right`: the room beside the panels, for titles and for the last values."""

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


@dataclass(frozen=True)
class Layout:
    """`panels`: the upper edge of each; `rows`: the height of the marks of each side's own answers."""

    frame: Frame
    height: int
    labels: tuple[Label, ...]
    triangles: tuple[tuple[OperationMark, float, int], ...]
    panels: tuple[int, ...]
    rows: dict[str, int]
    axis: int


def lay_out(course: CourseChart, *, narrow: bool) -> Layout:
    """A place for everything in the picture, from the operations at the top to the years at its foot."""
    frame = _frame(course, narrow)
    found, triangles, top = _operations(course.operations, frame)
    tops: list[int] = []
    for panel in course.panels:
        top, named = _panel_names(panel.title, panel.note, panel.href, frame, top)
        found += [*named, *_scale(panel, frame, top), *_ends(panel, frame, top)]
        tops.append(top)
        top += PANEL + (NARROW_GAP if narrow else GAP)
    rows: dict[str, int] = {}
    if course.words:
        top, named = _panel_names(course.words_title, "", "", frame, top)
        found += named
        title_ends = top + (0 if narrow else WORDS_TITLE)
        for side in SIDES:
            if said := sorted((each for each in course.words if each.side == side), key=lambda each: each.on):
                rows[side] = top + 14
                found += _said(side, said, frame, top + 14)
                top += WORDS_ROW
        top = max(top, title_ends)
    axis = top + 8
    found += _years(frame, axis + 19)
    return Layout(frame, top + 36, tuple(found), tuple(triangles), tuple(tops), rows, axis)


def value_y(panel: Panel, top: int, value: float) -> float:
    return round(top + PANEL - (value - panel.low) / (panel.high - panel.low) * PANEL, 1)


def side_word(side: str) -> str:
    return words.say(labels.SIDE[side])


def _frame(course: CourseChart, narrow: bool) -> Frame:
    days = [point.on for panel in course.panels for line in panel.lines for point in line.points]
    days += [each.on for each in course.operations] + [each.on for each in course.words] + [course.today]
    first, last = min(days), max(days)
    room = max(60, (last - first).days // 40)
    first, last = date.fromordinal(first.toordinal() - room), date.fromordinal(last.toordinal() + room // 2)
    ends = [_end_words(line) for panel in course.panels for line in panel.lines if line.points]
    ends += [side_word(each.side) for each in course.words]
    right = 14 + int(max((LETTERS["end"].width(text) for text in ends), default=60))
    numbers = [f"{value:g}" for panel in course.panels for value in (panel.low, panel.high)]
    left = 12 + int(max((LETTERS["quiet"].width(text) for text in numbers), default=20))
    return Frame(320, left, right, True, first, last) if narrow else Frame(820, 168, right, False, first, last)


def _operations(
    operations: Sequence[OperationMark], frame: Frame
) -> tuple[list[Label], list[tuple[OperationMark, float, int]], int]:
    """The triangles and their words, a row each where they would touch; returns how far down they reach too."""
    named, triangles = [], []
    row_ends: list[float] = []
    letters = LETTERS["op-words"]
    for each in sorted(operations, key=lambda one: (one.on, one.side)):
        text = cut(each.words, frame.width, letters)
        x, wide = frame.x(each.on), letters.width(text)
        fits_after, fits_before = x + 10 + wide <= frame.width, x - 10 - wide >= 0
        begin = x + 10 if fits_after else x - 10 - wide if fits_before else max(0.0, frame.width - wide)
        row = next((number for number, end in enumerate(row_ends) if min(begin, x - 6) > end + 12), len(row_ends))
        row_ends[row : row + 1] = [max(begin + wide, x + 6)]
        y = 8 + ROW * row
        named.append(Label("op-words", text, begin, y + 8, each.side))
        if not fits_after and not fits_before:  # the words take a row of their own, the triangle the next
            row = len(row_ends)
            row_ends.append(x + 6)
            y = 8 + ROW * row
        triangles.append((each, x, y))
    return named, triangles, 14 + ROW * len(row_ends)


def _panel_names(title: str, note: str, href: str, frame: Frame, top: int) -> tuple[int, list[Label]]:
    """The panel's upper edge, and its title and note: above it where that is narrow, else beside it and under the scale's upper end."""
    room = frame.width if frame.narrow else frame.left - 10
    lines = fold(title, room, LETTERS["panel"], most=2 if frame.narrow else 3)
    notes = fold(note, room, LETTERS["quiet"], most=1 if frame.narrow else 2)
    y = top + (20 if frame.narrow else 26)
    said = words.gettext("%(scale)s: how it is scored") % {"scale": title} if href else ""
    found = []
    for line in lines:
        found.append(Label("panel", line, 0, y, href=href, said=said))
        y += 22
    y -= 2
    for line in (each for each in notes if each):
        found.append(Label("quiet", line, 0, y))
        y += 16
    return (y if frame.narrow else top), found


def _scale(panel: Panel, frame: Frame, top: int) -> list[Label]:
    ends = (panel.low, panel.high)
    return [
        Label("quiet", f"{value:g}", frame.left - 8, value_y(panel, top, value) + 4, anchor="end") for value in ends
    ]


def _end_words(line: Line) -> str:
    return f"{line.points[-1].text} {side_word(line.side)}"


def _ends(panel: Panel, frame: Frame, top: int) -> list[Label]:
    """The last value and the side in words, at the line's end and apart from each other."""
    lines = [line for line in panel.lines if line.points]
    lines.sort(key=lambda line: value_y(panel, top, line.points[-1].value))
    wanted = [value_y(panel, top, line.points[-1].value) + 5 for line in lines]
    places = apart(wanted, 19, top + 10, top + PANEL + 5)
    return [
        Label(
            "end",
            _end_words(line),
            frame.end + 10,
            y,
            line.side,
            href=line.points[-1].href,
            said=words.gettext("%(score)s %(side)s, the last answer")
            % {"score": line.points[-1].text, "side": side_word(line.side)},
        )
        for line, y in zip(lines, places, strict=True)
    ]


def _said(side: str, said: Sequence[StateMark], frame: Frame, y: int) -> list[Label]:
    """The word of an answer where there is room, and none like it just before; the side at the end of the row."""
    found = [Label("end", side_word(side), frame.end + 10, y + 5, side)]
    last_x, last_word = -1000.0, ""
    for each in said:
        label = Label("said", each.word, frame.x(each.on), y - 10, side, "middle")
        free = not any(label.box.touches(other.box) for other in found) and label.box.left >= frame.left - 8
        if free and (each.word != last_word or label.x - last_x >= ALIKE_APART):
            found.append(label)
            last_x, last_word = label.x, each.word
    return found


def years_of(frame: Frame) -> list[date]:
    return [date(year, 1, 1) for year in range(frame.first.year + 1, frame.last.year + 1)]


def _years(frame: Frame, y: int) -> list[Label]:
    """A number for each January, or for every second, fifth, tenth, where there is room."""
    per_year = frame.across / ((frame.last - frame.first).days / YEAR_DAYS)
    step = next((step for step in (1, 2, 5, 10) if step * per_year >= YEARS_APART), 20)
    years = [on for on in years_of(frame) if on.year % step == 0]
    if not years_of(frame):  # all lies within one
        first = Label("quiet", f"{frame.first:%B %Y}", frame.left, y)
        last = Label("quiet", f"{frame.last:%B %Y}", frame.end, y, anchor="end")
        return [first] if first.box.touches(last.box) else [first, last]
    return [Label("quiet", str(on.year), frame.x(on), y, anchor="middle") for on in years]
