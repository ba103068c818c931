"""Where things lie in the figure of the acceptable state: shares by year over an axis of years, and the silence strip with counts."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from server.outcomes.figures.fade import Weight, thinner, weight_of
from server.outcomes.figures.label_boxes import Box, Letters, apart
from server.outcomes.figures.strip_layout import StripFigure, StripLayout, lay_out_strip
from server.outcomes.figures.svg import BOLD, HEADING, LINE, PLAIN, Label, folded_labels
from server.outcomes.figures.years import (
    AXIS_BEFORE,
    BEFORE_SURGERY,
    EDGE,
    LONG_TICK,
    AxisLayout,
    Frame,
    frame_of,
    lay_out_axis,
)

PLOT = 132
TOP = 6
CLEAR = 4  # of words beside the plot to the numbers of its scale
TO_END = 15  # from the last year to what is said of it
DOT, THIN_DOT = 4.2, 3.2
GRID = (0, 50, 100)
SAMPLE = 26  # a bit of the line before its words, where they stand above the plot


@dataclass(frozen=True)
class ShareAt:
    """A share of 0 to 1 in one year, of so many; without limits both ends are None."""

    year: int
    share: float
    of: int
    lower: float | None = None
    upper: float | None = None


@dataclass(frozen=True)
class ShareLine:
    """`end`: what is said of it at its end, of the answer the first of its lines in bold. `by_level`: dashed and hollow."""

    shares: tuple[ShareAt, ...]
    end: tuple[str, ...]
    by_level: bool = False

    @property
    def shown(self) -> tuple[tuple[ShareAt, Weight], ...]:
        """The years that have enough observed, each with its weight."""
        weighed = ((each, weight_of(each.of)) for each in self.shares)
        return tuple((each, weight) for each, weight in weighed if weight is not None)


@dataclass(frozen=True)
class AcceptableFigure:
    """`lines`: the patient's own answer, and after it the published level where there is one."""

    title: str
    heading: str
    lead: str
    axis_title: str
    lines: tuple[ShareLine, ...]
    strip: StripFigure
    description: str

    @property
    def last_year(self) -> int:
        return max((year.year for year in self.strip.years), default=1)


@dataclass(frozen=True)
class Dot:
    x: float
    y: float
    size: float
    lower: float | None
    upper: float | None
    weight: Weight

    @property
    def box(self) -> Box:
        top, bottom = min(self.y - self.size, self.upper or self.y), max(self.y + self.size, self.lower or self.y)
        return Box(self.x - self.size, top, self.x + self.size, bottom)


@dataclass(frozen=True)
class DrawnLine:
    """`joins`: from dot to dot of years in a row, with the weight of the thinner."""

    dots: tuple[Dot, ...]
    joins: tuple[tuple[Dot, Dot, Weight], ...]
    by_level: bool


class Sample(NamedTuple):
    """A bit of a line from `x` on, at the height of its words."""

    x: float
    y: float
    by_level: bool


@dataclass(frozen=True)
class AcceptableLayout:
    """`samples`: where words stand above the plot, what stands before each."""

    width: int
    frame: Frame
    top: float
    lines: tuple[DrawnLine, ...]
    labels: tuple[Label, ...]
    samples: tuple[Sample, ...]
    axis: AxisLayout
    strip: StripLayout

    @property
    def height(self) -> float:
        return self.strip.bottom

    @property
    def grid(self) -> tuple[float, ...]:
        return tuple(height_of(share / 100, self.top) for share in GRID)


def height_of(share: float, top: float) -> float:
    return top + PLOT * (1 - share)


def lay_out_acceptable(figure: AcceptableFigure, width: int) -> AcceptableLayout:
    """A place for everything: the plot, its axis of years, and the strip below."""
    shown = [each for each in figure.lines if each.shown]
    frame = frame_of(width, figure.last_year, TO_END + _widest_end(shown))
    labels = folded_labels(figure.heading, EDGE, TOP + 18, frame.room - CLEAR, letters=HEADING, ink="ink")
    labels += folded_labels(figure.lead, EDGE, labels[-1].y + LINE + 2, frame.room - CLEAR)
    samples: list[Sample] = []
    top = TOP + 8.0
    if not frame.ends:
        x, y = (frame.axis.left, TOP + 18.0) if frame.beside else (frame.begin, labels[-1].y + LINE + 4)
        above, samples = _above(shown, x, y, frame.end - x)
        labels += above
        top = labels[-1].y + LINE
    lines = tuple(_drawn(each, frame, top) for each in shown)
    # Beside the plot its foot is the axis itself; on a narrow drawing the title of the axis stands between them.
    foot = top + PLOT - LONG_TICK - 2 if frame.beside else top + PLOT + 8
    axis = lay_out_axis(frame, figure.axis_title, max(foot, *(label.box.bottom - 10 for label in labels)))
    labels += _scale(frame, top)
    if frame.ends:
        labels += _ends(shown, lines, frame, top)
    strip = lay_out_strip(figure.strip, frame, axis.bottom)
    return AcceptableLayout(width, frame, top, lines, tuple(labels), tuple(samples), axis, strip)


def _widest_end(lines: Sequence[ShareLine]) -> float:
    said = ((_letters(each, number), text) for each in lines for number, text in enumerate(each.end))
    return max((letters.width(text) for letters, text in said), default=0.0)


def _letters(line: ShareLine, number: int) -> Letters:
    return PLAIN if line.by_level or number else BOLD


def _drawn(line: ShareLine, frame: Frame, top: float) -> DrawnLine:
    dots = {each.year: _dot(each, weight, frame, top) for each, weight in line.shown}
    joins = [
        (dots[before], dots[after], thinner(dots[before].weight, dots[after].weight))
        for before, after in pairwise(dots)
        if after == before + 1
    ]
    return DrawnLine(tuple(dots.values()), tuple(joins), line.by_level)


def _dot(each: ShareAt, weight: Weight, frame: Frame, top: float) -> Dot:
    lower, upper = (None if end is None else height_of(end, top) for end in (each.lower, each.upper))
    size = DOT if weight.line > 2 else THIN_DOT
    return Dot(frame.axis.x(each.year), height_of(each.share, top), size, lower, upper, weight)


def _ends(lines: Sequence[ShareLine], drawn: Sequence[DrawnLine], frame: Frame, top: float) -> Iterator[Label]:
    """Right of the last year, each as near to its line as the other lets it."""
    x, order = frame.axis.right + TO_END, sorted(range(len(lines)), key=lambda place: drawn[place].dots[-1].y)
    rows = [(place, number) for place in order for number in range(len(lines[place].end))]
    wanted = [drawn[place].dots[-1].y + 5 + number * LINE for place, number in rows]
    for (place, number), y in zip(rows, apart(wanted, LINE, top + 8, top + PLOT - 4), strict=True):
        bold = _letters(lines[place], number) == BOLD
        yield Label(
            lines[place].end[number], x, y, letters=_letters(lines[place], number), ink="ink" if bold else "soft"
        )


def _above(lines: Sequence[ShareLine], x: float, y: float, room: float) -> tuple[list[Label], list[Sample]]:
    """Where no words have room at the ends of the lines: above the plot, each behind a bit of its line."""
    labels: list[Label] = []
    samples = []
    for each in lines:
        samples.append(Sample(x, y - 5, each.by_level))
        labels += folded_labels(", ".join(each.end), x + SAMPLE + 8, y, room - SAMPLE - 8, ink="ink")
        y = labels[-1].y + LINE
    return labels, samples


def _scale(frame: Frame, top: float) -> Iterator[Label]:
    x = frame.axis.left - BEFORE_SURGERY - AXIS_BEFORE - 2
    for share in GRID:
        yield Label(str(share), x, height_of(share / 100, top) + 5, "end")
