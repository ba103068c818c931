"""Where things lie in the figure of groups: panel under panel or, where there is room, three beside each other.

The words of each line stand beside its scale, or above it where there is no room beside.
"""

from dataclasses import dataclass

from server.outcomes.figures.groups import GroupLine, GroupPanel, GroupsFigure
from server.outcomes.figures.svg import BOLD, LINE, PLAIN, Label, folded_labels

EDGE = 2
BESIDE_FROM = 560  # pixels; below it the words of a line stand above it
IN_ROW, ROWS_FROM = 3, 1000  # panels beside each other, and from how many pixels on
WORDS_SHARE, GUTTER = 0.5, 22
ROW, NARROW_ROW = 26, 17  # how high a line is at least, and below its words
AFTER_TITLE, AFTER_PANEL, TICK = 8, 20, 6
NUMBERS_APART = 8


@dataclass(frozen=True)
class Scale:
    left: float
    right: float
    low: float
    high: float

    def x(self, value: float) -> float:
        return self.left + (value - self.low) / (self.high - self.low) * (self.right - self.left)


@dataclass(frozen=True)
class PlacedLine:
    line: GroupLine
    y: float


@dataclass(frozen=True)
class PanelPlace:
    """`top` and `bottom`: of the upright line at zero; they are the same where words stand above the lines, which it would cross."""

    panel: GroupPanel
    scale: Scale
    lines: tuple[PlacedLine, ...]
    top: float
    bottom: float


@dataclass(frozen=True)
class GroupsLayout:
    width: int
    height: float
    panels: tuple[PanelPlace, ...]
    labels: tuple[Label, ...]


def lay_out_groups(figure: GroupsFigure, width: int) -> GroupsLayout:
    """A place for everything. Panels beside each other begin at one height."""
    in_row = IN_ROW if width >= ROWS_FROM else 1
    each = (width - GUTTER * (in_row - 1)) / in_row
    panels: list[PanelPlace] = []
    labels: list[Label] = []
    y = 0.0
    for begin in range(0, len(figure.panels), in_row):
        ends = []
        for place, panel in enumerate(figure.panels[begin : begin + in_row]):
            placed, words, end = _panel(panel, place * (each + GUTTER), each, y)
            panels.append(placed)
            labels += words
            ends.append(end)
        y = max(ends) + AFTER_PANEL
    return GroupsLayout(width, max(1.0, y - AFTER_PANEL + 4), tuple(panels), tuple(labels))


def _panel(panel: GroupPanel, x: float, width: float, y: float) -> tuple[PanelPlace, list[Label], float]:
    beside = width >= BESIDE_FROM
    room = width * WORDS_SHARE if beside else width - 2 * EDGE
    widest = max(PLAIN.width(text) for _value, text in panel.ticks)
    left = x + (EDGE + room + GUTTER if beside else EDGE) + widest / 2
    scale = Scale(left, x + width - EDGE - widest / 2, panel.low, panel.high)
    labels = folded_labels(panel.title, x + EDGE, y + 16, width - 2 * EDGE, letters=BOLD, ink="ink")
    if panel.note:
        labels += folded_labels(panel.note, x + EDGE, labels[-1].y + LINE, width - 2 * EDGE)
    y = top = labels[-1].y + AFTER_TITLE
    lines = []
    for line in panel.lines:
        words = folded_labels(line.words, x + EDGE, y + 16, room, most=8)
        labels += words
        high = words[-1].y - y + (8 if beside else 6)
        if beside:
            lines.append(PlacedLine(line, y + max(ROW, high) / 2))
            y += max(ROW, high)
        elif line.value is None:
            y += high + 4
        else:
            lines.append(PlacedLine(line, y + high + NARROW_ROW / 2 - 2))
            y += high + NARROW_ROW
    labels += _numbers(panel, scale, y + TICK + 15)
    return PanelPlace(panel, scale, tuple(lines), top if beside else y, y), labels, y + TICK + LINE


def _numbers(panel: GroupPanel, scale: Scale, y: float) -> list[Label]:
    """The first, and after it each that does not come too near to the one before."""
    found: list[Label] = []
    for value, text in panel.ticks:
        label = Label(text, scale.x(value), y, "middle")
        if not found or label.box.left >= found[-1].box.right + NUMBERS_APART:
            found.append(label)
    return found
