"""The silence strip under the axis of a figure over years: what became of every shoulder that is meant, a bar for each year.

It is a piece: a figure lays out its own axis and places the strip below, with its rows of counts.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from server.outcomes.figures.flow import CountsDoNotAddUpProblem
from server.outcomes.figures.label_boxes import Box
from server.outcomes.figures.svg import BOLD, HEADING, LINE, PLAIN, Label, folded_labels
from server.outcomes.figures.years import EDGE, Frame

Place = Literal["answered", "silent", "never_asked", "revised", "dead"]
# From the axis down.
IN_BARS: tuple[Place, ...] = ("answered", "silent", "never_asked", "revised", "dead")
HIGH = 70  # of the year in which most had come
WIDEST_BAR, BAR_OF_STEP = 22, 0.6
KEY, KEY_GAP = 11, 8
ROW_APART, RULE_APART = 3, 6


@dataclass(frozen=True)
class StripYear:
    """How many stand in each place; `to_come` has no bar. `meant`: what all six add up to."""

    year: int
    counts: Mapping[Place, int]
    to_come: int


@dataclass(frozen=True)
class CountRow:
    """One row of counts below the bars. `mark`: the place that it counts. `strong`: in bold; `ruled`: a line stands above it."""

    label: str
    counts: Mapping[int, str]
    mark: Place | None = None
    strong: bool = False
    ruled: bool = False


@dataclass(frozen=True)
class StripFigure:
    title: str
    lead: str
    meant: int
    years: tuple[StripYear, ...]
    rows: tuple[CountRow, ...]


@dataclass(frozen=True)
class Bar:
    box: Box
    place: Place


@dataclass(frozen=True)
class StripLayout:
    """`keys`: a small box of each kind beside its row. `rules`: how high the lines across lie."""

    labels: tuple[Label, ...]
    bars: tuple[Bar, ...]
    keys: tuple[Bar, ...]
    rules: tuple[float, ...]
    left: float
    right: float
    bottom: float


def check_strip(figure: StripFigure) -> None:
    """Raises CountsDoNotAddUpProblem for the first year that does not hold every shoulder that is meant."""
    for each in figure.years:
        now = sum(each.counts.values()) + each.to_come
        if now != figure.meant:
            raise CountsDoNotAddUpProblem(f"year {each.year}: {now} shoulders, and {figure.meant} are meant")


def lay_out_strip(figure: StripFigure, frame: Frame, top: float) -> StripLayout:
    """Below `top`, where the numbers of the axis end. The axis has the years of the figure."""
    check_strip(figure)
    bars = tuple(_bars(figure.years, frame, top + 4))
    under_bars = top + 4 + HIGH
    if frame.beside:
        labels = [Label(figure.title, EDGE, top + 18, letters=HEADING, ink="ink")]
        labels += folded_labels(figure.lead, EDGE, top + 18 + LINE + 2, frame.beside, most=6)
    else:
        labels = [Label(figure.title, EDGE, under_bars + 24, letters=HEADING, ink="ink")]
        labels += folded_labels(figure.lead, EDGE, under_bars + 24 + LINE + 2, frame.room, most=6)
    y = max(under_bars, labels[-1].y) + 10
    keys: list[Bar] = []
    rules: list[float] = []
    widest = max((PLAIN.width(text) for row in figure.rows for text in row.counts.values()), default=0.0)
    shown = frame.axis.numbered(widest)
    for row in figure.rows:
        if row.ruled:
            y += RULE_APART
            rules.append(y)
        found = _row(row, frame, y, shown, widest)
        labels += found
        if row.mark is not None:
            keys.append(Bar(Box(EDGE, y + 4, EDGE + KEY, y + 4 + KEY), row.mark))
        y = max(label.y for label in found) + 4 + ROW_APART
    right = frame.axis.right + WIDEST_BAR / 2
    return StripLayout(tuple(labels), bars, tuple(keys), tuple(rules), EDGE, right, y)


def _bars(years: Iterable[StripYear], frame: Frame, top: float) -> Iterable[Bar]:
    known = tuple(years)
    most = max((sum(each.counts.values()) for each in known), default=0)
    wide = min(WIDEST_BAR, BAR_OF_STEP * frame.axis.step)
    for each in known:
        y = top
        for place in IN_BARS:
            high = each.counts[place] * HIGH / max(1, most)
            if high:
                x = frame.axis.x(each.year)
                yield Bar(Box(x - wide / 2, y, x + wide / 2, y + high), place)
            y += high


def _row(row: CountRow, frame: Frame, top: float, shown: Sequence[int], widest: float) -> list[Label]:
    """Its words, and its counts beside them or, where there is no room, below."""
    letters, ink = (BOLD, "ink") if row.strong else (PLAIN, "soft")
    left = EDGE + KEY + KEY_GAP if row.mark is not None else EDGE
    room = frame.room_before(frame.axis.x(shown[0]), widest)
    said = folded_labels(row.label, left, top + 14, room - left + EDGE, most=6, letters=letters, ink="ink")
    y = top + 14 if frame.beside else said[-1].y + LINE
    counts = [frame.axis.number(row.counts[year], year, y, PLAIN, ink) for year in shown if year in row.counts]
    return said + counts
