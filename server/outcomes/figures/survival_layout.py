"""Where things lie in the figure of implant survival: its panels beside each other where there is room, else below each other."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from typing import NamedTuple

from server.outcomes.figures.label_boxes import Box, fold
from server.outcomes.figures.survival import CountRow, Panel, Step, SurvivalFigure
from server.outcomes.figures.svg import BOLD, LINE, PLAIN, Words

BESIDE_FROM = 800  # pixels; below it the panels lie below each other
GUTTER, APART = 44, 30
PLOT, LONG, SHORT = 168, 13, 8  # how high a plot and its ticks are
GAP = 9
LABELS_MOST = 0.42  # of a panel's width, what the words of the rows may take
COUNTS_APART = 3
MOST_LINES = 8


@dataclass(frozen=True)
class Plot:
    """Where times and shares lie."""

    left: float
    right: float
    top: float
    bottom: float
    last: float
    highest: float

    def x(self, time: float) -> float:
        return self.left + time / self.last * (self.right - self.left)

    def y(self, share: float) -> float:
        return self.bottom - share / self.highest * (self.bottom - self.top)


class Corner(NamedTuple):
    """Where the words of the rows begin, and how much room they have."""

    left: float
    top: float
    room: float


@dataclass(frozen=True)
class PanelLayout:
    """`numbered`: the places among the figure's times under which counts stand. `rules`: the heights of the grid's lines."""

    panel: Panel
    plot: Plot
    words: tuple[Words, ...]
    numbered: tuple[int, ...]
    rules: tuple[float, ...]
    bottom: float


@dataclass(frozen=True)
class SurvivalLayout:
    width: int
    height: float
    panels: tuple[PanelLayout, ...]

    @property
    def words(self) -> tuple[Words, ...]:
        return tuple(words for panel in self.panels for words in panel.words)


def lay_out_survival(figure: SurvivalFigure, width: int) -> SurvivalLayout:
    """A place for everything. Panels beside each other have their axes at one height."""
    beside = width >= BESIDE_FROM
    each = (width - GUTTER) / len(figure.panels) if beside else float(width)
    heads = [_head(panel, 0, 0, each) for panel in figure.panels]
    deepest = max(bottom for _words, bottom in heads)
    panels: list[PanelLayout] = []
    top = 0.0
    for place, panel in enumerate(figure.panels):
        left = place * (each + GUTTER) if beside else 0.0
        head, bottom = _head(panel, left, top, each)
        panels.append(_panel(figure, panel, head, left, top + deepest if beside else bottom, each))
        top = top if beside else panels[-1].bottom + APART
    return SurvivalLayout(width, max(panel.bottom for panel in panels) + 4, tuple(panels))


def _head(panel: Panel, left: float, top: float, width: float) -> tuple[list[Words], float]:
    """Question and answer above a plot, and where they end."""
    found, y, room = [], top + 16, width - PLAIN.width(" ")  # which follows what stands out
    for line in fold(panel.question, room, BOLD, most=MOST_LINES):
        found.append(_bold(line, left, y))
        y += LINE
    y += 5
    first, *others = panel.answer
    for line in fold(first, room, BOLD, most=MOST_LINES):
        found.append(_bold(line, left, y))
        y += LINE
    for text in others:
        for line in fold(text, width, PLAIN, most=MOST_LINES):
            found.append(Words("", (line,), left, y))
            y += LINE
    return found, y


def _panel(
    figure: SurvivalFigure, panel: Panel, head: list[Words], left: float, top: float, width: float
) -> PanelLayout:
    # The same in both panels, so that one year is as long in one as in the other.
    scale, widest = _scale(figure), max(map(_widest_count, figure.panels))
    room = max(*(_label_room(each, width) for each in figure.panels), *map(PLAIN.width, scale.values()))
    plot_top = top + 18
    plot = Plot(
        left + room + GAP + widest / 2,
        left + width - widest / 2,
        plot_top,
        plot_top + PLOT,
        ceil(figure.end),
        figure.top,
    )
    words = [*head, Words("", (figure.share_words,), left, top + 4)]
    words += [Words("", (text,), left + room, plot.y(share) + 5, "end") for share, text in scale.items()]
    numbered, axis = _numbered(figure, plot, widest), plot.bottom + 22
    words.append(Words("", (figure.years_words,), left, axis))
    words += [
        Words(figure.time_words[place], ("",), plot.x(figure.times[place]), axis, "middle")
        for place in numbered
        if figure.time_words[place]
    ]
    rows, bottom = _rows(figure, panel, plot, numbered, Corner(left, axis + LINE + 5, room))
    words += [*rows, *_beside_words(panel, plot)]
    return PanelLayout(panel, plot, tuple(words), tuple(numbered), tuple(map(plot.y, scale)), bottom)


def _scale(figure: SurvivalFigure) -> dict[float, str]:
    """The shares at which a line of the grid lies, with their words: five lines at most above nothing."""
    tens = round(figure.top * 10)
    step = next(each for each in (1, 2, 5, 10) if tens <= 5 * each)
    shares = {number / 10 for number in range(0, tens + 1, step)} | {figure.top}
    if tens % step:
        shares -= {(tens - tens % step) / 10}  # too close to the top
    return {share: f"{share * 100:.0f} %" if share else "0" for share in sorted(shares)}


def _widest_count(panel: Panel) -> float:
    return max(BOLD.width(str(count)) for row in panel.rows for count in row.counts) + PLAIN.width(" ")


def _label_room(panel: Panel, width: float) -> float:
    return min(max(PLAIN.width(row.label) for row in panel.rows), width * LABELS_MOST)


def _numbered(figure: SurvivalFigure, plot: Plot, widest: float) -> list[int]:
    """The places under which counts stand: the year of the answer, the start, each fifth, the last, then as many others as have room."""
    places = range(len(figure.times))
    order = sorted(places, key=lambda place: _rank(figure, place))
    found: list[int] = []
    for place in order:
        x = plot.x(figure.times[place])
        room = max(widest, BOLD.width(figure.time_words[place])) + COUNTS_APART
        if all(abs(x - plot.x(figure.times[other])) >= room for other in found):
            found.append(place)
    return sorted(found)


def _rank(figure: SurvivalFigure, place: int) -> tuple[int, int]:
    time = figure.times[place]
    ranks = (time == figure.answered_at, place == 0, time % 5 == 0, place == len(figure.times) - 1, time % 2 == 0, True)
    return ranks.index(True), place


def _rows(
    figure: SurvivalFigure, panel: Panel, plot: Plot, numbered: Sequence[int], corner: Corner
) -> tuple[list[Words], float]:
    """The counts under the axis; a label that is too long is folded, and its counts stand beside its first line."""
    y = corner.top
    found: list[Words] = []
    for number, row in enumerate(panel.rows):
        lines = fold(row.label, corner.room, PLAIN, most=MOST_LINES)
        found += [Words("", (line,), corner.left, y + LINE * below) for below, line in enumerate(lines)]
        found += [_count(figure, row, place, plot, y, bold=number == 0) for place in numbered]
        y += LINE * len(lines) + 2
    return found, y - LINE + 6


def _count(figure: SurvivalFigure, row: CountRow, place: int, plot: Plot, y: float, *, bold: bool) -> Words:
    text, x = str(row.counts[place]), plot.x(figure.times[place])
    if bold and figure.is_full(place):
        return Words(text, ("",), x, y, "middle")
    return Words("", (text,), x, y, "middle")


def _beside_words(panel: Panel, plot: Plot) -> list[Words]:
    """The words of the dashed line, above it as far to the right as nothing else lies there; none where there is no such place."""
    taken = [*curve_boxes(panel, plot)]
    for time, share in reversed(panel.beside if panel.beside_words else ()):
        for anchor, x in (("end", plot.x(time)), ("start", plot.x(time) + 4)):
            words = Words("", (panel.beside_words,), x, plot.y(share) - 8, anchor)
            (box,) = words.boxes
            inside = box.left >= plot.left + 4 and box.right <= plot.right and box.top >= plot.top
            if inside and not any(box.touches(each) for each in taken):
                return [words]
    return []


def curve_boxes(panel: Panel, plot: Plot) -> Iterator[Box]:
    """What the lines and the band of a panel cover."""
    for (time, share, lower, upper), right in _to_the_next(panel.curve, plot):
        yield Box(plot.x(time) - 2, plot.y(upper or share) - 2, right, plot.y(share if lower is None else lower) + 2)
    dashed: list[Step] = [(time, share, None, None) for time, share in panel.beside]
    for (time, share, *_limits), right in _to_the_next(dashed, plot):
        yield Box(plot.x(time) - 2, plot.y(share) - 2, right, plot.y(share) + 2)


def _to_the_next(steps: Sequence[Step], plot: Plot) -> Iterator[tuple[Step, float]]:
    """Each step with where the next one begins."""
    for place, step in enumerate(steps):
        yield step, plot.x(steps[place + 1][0]) if place + 1 < len(steps) else plot.right


def _bold(text: str, x: float, y: float) -> Words:
    return Words(text, ("",), x, y)
