"""Where things lie in the picture of a person's course: every word has a box, no box touches another, and none leaves the picture.

Laid out anew for narrow windows and for paper, not made smaller: a title then stands above its panel instead of beside it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from server.outcomes.figures.label_boxes import ASCENT, DESCENT, Box, Letters, apart, cut, fold
from server.staff.patient.course import CourseChart, Line, OperationMark, Panel, StateMark
from server.words.language import Words

YEAR_DAYS = 365.2425
WORDS_ROW = 34
WORDS_TITLE = 56  # two lines of it
ROW = 20  # of the operations' words
YEARS_APART = 44
SIDES = ("left", "right")
LETTERS = {
    "op-words": Letters(13.5),
    "panel": Letters(19, bold=True),
    "quiet": Letters(13),
    "end": Letters(15, bold=True),
    "said": Letters(13, bold=True),
}
ALIKE_APART = 120  # between two words of one row that say the same


@dataclass(frozen=True)
class Room:
    """`beside`: the width of titles beside the panels, 0 where they stand above. `panel`: how high one is, `gap`: what is under it."""

    width: int
    beside: int
    panel: int
    gap: int


WIDE, NARROW = Room(820, 168, 128, 36), Room(320, 0, 128, 24)
# Printed a seventh larger, so that its smallest words stand in 11 points, and three panels leave room for what is said of them.
PAPER = Room(560, 0, 62, 12)


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

    room: Room
    left: int
    right: int
    first: date
    last: date

    def x(self, on: date) -> float:
        return round(self.left + (on - self.first).days / max(1, (self.last - self.first).days) * self.across, 1)

    def y(self, panel: Panel, top: int, value: float) -> float:
        return round(top + self.room.panel - (value - panel.low) / (panel.high - panel.low) * self.room.panel, 1)

    @property
    def width(self) -> int:
        return self.room.width

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


def lay_out(course: CourseChart, room: Room) -> Layout:
    """A place for everything in the picture, from the operations at the top to the years at its foot."""
    frame = _frame(course, room)
    found, triangles, top = _operations(course.operations, frame)
    tops: list[int] = []
    for panel in course.panels:
        top, named = _panel_names(panel, frame, top)
        found += [*named, *_scale(panel, frame, top), *_ends(panel, course.sides, frame, top)]
        tops.append(top)
        top += room.panel + room.gap
    rows: dict[str, int] = {}
    if course.words:
        top, named = _names(course.words_title, "", frame, top)
        found += named
        title_ends = top + (WORDS_TITLE if room.beside else 0)
        for side in SIDES:
            if said := sorted((each for each in course.words if each.side == side), key=lambda each: each.on):
                rows[side] = top + 14
                found += _said(side, course.sides[side], said, frame, top + 14)
                top += WORDS_ROW
        top = max(top, title_ends)
    axis = top + 8
    found += _years(frame, axis + 19, course.language)
    return Layout(frame, top + 36, tuple(found), tuple(triangles), tuple(tops), rows, axis)


def _frame(course: CourseChart, room: Room) -> Frame:
    days = [point.on for panel in course.panels for line in panel.lines for point in line.points]
    days += [each.on for each in course.operations] + [each.on for each in course.words] + [course.today]
    first, last = min(days), max(days)
    margin = max(60, (last - first).days // 40)
    first, last = date.fromordinal(first.toordinal() - margin), date.fromordinal(last.toordinal() + margin // 2)
    ends = [_end_words(line, course.sides) for panel in course.panels for line in panel.lines if line.points]
    ends += [course.sides[each.side] for each in course.words]
    right = 14 + int(max((LETTERS["end"].width(text) for text in ends), default=60))
    numbers = [f"{value:g}" for panel in course.panels for value in (panel.low, panel.high)]
    left = room.beside or 12 + int(max((LETTERS["quiet"].width(text) for text in numbers), default=20))
    return Frame(room, left, right, first, last)


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


def _panel_names(panel: Panel, frame: Frame, top: int) -> tuple[int, list[Label]]:
    return _names(panel.title, panel.note, frame, top, href=panel.href, said=panel.said)


def _names(title: str, note: str, frame: Frame, top: int, *, href: str = "", said: str = "") -> tuple[int, list[Label]]:
    """The panel's upper edge, and its title and note: above it or beside it, and there under the scale's upper end."""
    above = not frame.room.beside
    room = frame.width if above else frame.left - 10
    lines = fold(title, room, LETTERS["panel"], most=2 if above else 3)
    notes = fold(note, room, LETTERS["quiet"], most=2)
    y = top + (20 if above else 26)
    found = []
    for line in lines:
        found.append(Label("panel", line, 0, y, href=href, said=said))
        y += 22
    y -= 2
    for line in (each for each in notes if each):
        found.append(Label("quiet", line, 0, y))
        y += 16
    return (y if above else top), found


def _scale(panel: Panel, frame: Frame, top: int) -> list[Label]:
    ends = (panel.low, panel.high)
    return [
        Label("quiet", f"{value:g}", frame.left - 8, frame.y(panel, top, value) + 4, anchor="end") for value in ends
    ]


def _end_words(line: Line, sides: Mapping[str, str]) -> str:
    return f"{line.points[-1].text} {sides[line.side]}".strip()


def _ends(panel: Panel, sides: Mapping[str, str], frame: Frame, top: int) -> list[Label]:
    """The last value and the side in words, at the line's end and apart from each other."""
    lines = [line for line in panel.lines if line.points]
    lines.sort(key=lambda line: frame.y(panel, top, line.points[-1].value))
    wanted = [frame.y(panel, top, line.points[-1].value) + 5 for line in lines]
    places = apart(wanted, 19, top + 10, top + frame.room.panel + 5)
    return [
        Label(
            "end",
            _end_words(line, sides),
            frame.end + 10,
            y,
            line.side,
            href=line.points[-1].href,
            said=f"{_end_words(line, sides)}: {line.points[-1].said}",  # it begins with what is seen
        )
        for line, y in zip(lines, places, strict=True)
    ]


def _said(side: str, name: str, said: Sequence[StateMark], frame: Frame, y: int) -> list[Label]:
    """The word of an answer where there is room, and none like it just before; the side at the end of the row."""
    found = [Label("end", name, frame.end + 10, y + 5, side)] if name else []
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


def _years(frame: Frame, y: int, language: Words) -> list[Label]:
    """A number for each January, or for every second, fifth, tenth, where there is room."""
    per_year = frame.across / ((frame.last - frame.first).days / YEAR_DAYS)
    step = next((step for step in (1, 2, 5, 10) if step * per_year >= YEARS_APART), 20)
    years = [on for on in years_of(frame) if on.year % step == 0]
    if not years_of(frame):  # all lies within one
        first = Label("quiet", language.exact_day(frame.first, "month"), frame.left, y)
        last = Label("quiet", language.exact_day(frame.last, "month"), frame.end, y, anchor="end")
        return [first] if first.box.touches(last.box) else [first, last]
    return [Label("quiet", str(on.year), frame.x(on), y, anchor="middle") for on in years]
