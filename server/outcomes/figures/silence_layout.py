"""Where things lie in the figure about silence: estimates of one share under each other on one scale, and the silence strip below."""

from collections.abc import Iterator
from dataclasses import dataclass

from server.outcomes.figures.fade import Weight, weight_of
from server.outcomes.figures.label_boxes import Box
from server.outcomes.figures.strip_layout import StripFigure, StripLayout, lay_out_strip
from server.outcomes.figures.svg import BOLD, HEADING, LINE, Label, folded_labels
from server.outcomes.figures.years import EDGE, AxisLayout, Frame, frame_of, lay_out_axis

MARKS = (0, 25, 50, 75, 100)
HIGH = 34  # of a row, at least
APART = 12  # between rows
RADIUS, THIN_RADIUS, TICK = 5.0, 3.6, 5.0
MOST_LINES = 5
AFTER_LAST_MARK = 30  # the words at it stand under it


@dataclass(frozen=True)
class Estimate:
    """A share with its limits, from 0 to 1; `n`: how many answers it is of. `primary`: the one to go by, which is drawn full."""

    name: str
    said: str
    share: float
    lower: float
    upper: float
    n: int
    primary: bool


@dataclass(frozen=True)
class SilenceFigure:
    """`heading`: which share it is. `missing`: an estimate that there is none of, with why."""

    title: str
    description: str
    heading: str
    estimates: tuple[Estimate, ...]
    missing: tuple[tuple[str, str], ...]
    strip: StripFigure
    years: str


@dataclass(frozen=True)
class Row:
    """An estimate on its ruler; `weight` is None where it is of too few to be drawn."""

    estimate: Estimate
    weight: Weight | None
    y: float
    left: float
    right: float
    labels: tuple[Label, ...]

    def x(self, share: float) -> float:
        return self.left + (self.right - self.left) * min(1.0, max(0.0, share))

    @property
    def box(self) -> Box:
        """Of its ruler and mark."""
        return Box(self.left - RADIUS, self.y - RADIUS, self.right + RADIUS, self.y + TICK)


@dataclass(frozen=True)
class SilenceLayout:
    labels: tuple[Label, ...]
    rows: tuple[Row, ...]
    axis: AxisLayout
    strip: StripLayout

    @property
    def every_label(self) -> Iterator[Label]:
        yield from self.labels
        for row in self.rows:
            yield from row.labels
        yield from (*self.axis.labels, *self.strip.labels)


def lay_out_silence(figure: SilenceFigure, width: int) -> SilenceLayout:
    """From the heading down to the last count of the strip."""
    frame = frame_of(width, max((year.year for year in figure.strip.years), default=1))
    labels = folded_labels(figure.heading, EDGE, 20, width - 2 * EDGE, letters=HEADING, ink="ink")
    y = labels[-1].y + APART if labels else 0.0
    rows = []
    for estimate in figure.estimates:
        rows.append(_row(estimate, frame, y))
        y = max(rows[-1].y + TICK, *(label.y for label in rows[-1].labels)) + APART
    if rows:
        below = rows[-1].y + TICK + 15
        labels += [Label(f"{mark}", rows[-1].x(mark / 100), below, "middle") for mark in MARKS[:-1]]
        labels.append(Label("100 %", width - EDGE, below, "end"))
        y = max(y, below + APART)
    for name, why in figure.missing:
        said = folded_labels(name, EDGE, y + 14, width - 2 * EDGE, letters=BOLD, ink="ink")
        said += folded_labels(why, EDGE, said[-1].y + LINE, width - 2 * EDGE, most=MOST_LINES)
        labels += said
        y = said[-1].y + APART
    axis = lay_out_axis(frame, figure.years, y + 6)
    return SilenceLayout(tuple(labels), tuple(rows), axis, lay_out_strip(figure.strip, frame, axis.bottom))


def _row(estimate: Estimate, frame: Frame, top: float) -> Row:
    """Words beside the ruler, or above it where there is no room."""
    said = folded_labels(estimate.name, EDGE, top + 14, frame.room, most=MOST_LINES)
    said += folded_labels(estimate.said, EDGE, said[-1].y + LINE, frame.room, most=MOST_LINES, letters=BOLD, ink="ink")
    middle = (said[0].y + said[-1].y) / 2 - 4
    y = max(middle, top + HIGH / 2) if frame.beside else said[-1].y + 16
    left = frame.axis.left if frame.beside else EDGE + RADIUS
    return Row(estimate, weight_of(estimate.n), y, left, frame.end + EDGE - AFTER_LAST_MARK, tuple(said))
