"""Where things lie in the course: panels under each other on one axis of years, each with what was observed, and the strip below."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from server.outcomes.figures.course import CourseFigure, CoursePanel, CoursePoint
from server.outcomes.figures.fade import FULL, Weight, weight_of
from server.outcomes.figures.label_boxes import Box
from server.outcomes.figures.strip_layout import StripLayout, lay_out_strip
from server.outcomes.figures.svg import BOLD, HEADING, LINE, PLAIN, Label, folded_labels
from server.outcomes.figures.years import AXIS_BEFORE, BEFORE_SURGERY, EDGE, AxisLayout, Frame, frame_of, lay_out_axis

HIGH = 92  # of a panel
APART = 14  # between panels
AFTER_POINT = 9
ABOVE_COUNTS = 17
POINT, THIN_POINT = 3.4, 2.4


@dataclass(frozen=True)
class Spot:
    """A point as drawn. `box`: with its limits, and `band` the middle half, top and bottom."""

    point: CoursePoint
    weight: Weight
    x: float
    y: float
    limits: tuple[float, float] | None
    band: tuple[float, float]

    @property
    def radius(self) -> float:
        return POINT if self.weight == FULL else THIN_POINT

    @property
    def box(self) -> Box:
        top, bottom = self.limits or (self.y, self.y)
        return Box(self.x - POINT, min(top, self.y - POINT), self.x + POINT, max(bottom, self.y + POINT))


@dataclass(frozen=True)
class Leader:
    """A line from words to what they name."""

    x: float
    top: float
    bottom: float


@dataclass(frozen=True)
class PanelLayout:
    """`before`: the spot left of the operation. `joined`: neighbours that a line joins."""

    top: float
    bottom: float
    left: float
    before: Spot | None
    spots: tuple[Spot, ...]
    labels: tuple[Label, ...]

    @property
    def joined(self) -> Iterator[tuple[Spot, Spot]]:
        return ((one, other) for one, other in pairwise(self.spots) if other.point.year == one.point.year + 1)


@dataclass(frozen=True)
class CourseLayout:
    frame: Frame
    operation: float  # how high the mark of the operation stands
    labels: tuple[Label, ...]
    leaders: tuple[Leader, ...]
    panels: tuple[PanelLayout, ...]
    axis: AxisLayout
    strip: StripLayout

    @property
    def every_label(self) -> tuple[Label, ...]:
        of_panels = (label for panel in self.panels for label in panel.labels)
        return (*self.labels, *of_panels, *self.axis.labels, *self.strip.labels)


def lay_out_course(figure: CourseFigure, width: int) -> CourseLayout:
    """From the mark of the operation down to the last count of the strip."""
    end = max((BOLD.width(panel.end) for panel in figure.panels), default=0.0) + AFTER_POINT
    last = max((year.year for year in figure.strip.years), default=1)
    frame = frame_of(width, last, end)
    x = frame.axis.left + 11
    labels = folded_labels(figure.operation, x, 16, width - EDGE - x)
    y = labels[-1].y + 8 if labels else 8
    panels = []
    for panel in figure.panels:
        panels.append(_panel(panel, figure, frame, y))
        y = max(label.y for label in panels[-1].labels) + APART
    said, leaders = _said_at_lines(figure, panels, frame)
    axis = lay_out_axis(frame, figure.years, y - 2)
    strip = lay_out_strip(figure.strip, frame, axis.bottom)
    return CourseLayout(frame, 6, (*labels, *said), leaders, tuple(panels), axis, strip)


def _panel(panel: CoursePanel, figure: CourseFigure, frame: Frame, top: float) -> PanelLayout:
    labels = folded_labels(panel.heading, EDGE, top + 19, frame.room, letters=HEADING, ink="ink")
    if frame.beside:
        labels += folded_labels(panel.scale, EDGE, labels[-1].y + LINE + 2, frame.beside)
        if panel.end and not frame.ends:
            labels += folded_labels(panel.end, EDGE, labels[-1].y + LINE, frame.beside, letters=BOLD, ink="ink")
        plot = top + 6
    else:
        labels += _above(panel, labels[-1], frame)
        plot = labels[-1].y + 14
    axis, bottom, beside_it = frame.axis, plot + HIGH, labels[-1].y if frame.beside else 0.0
    left = axis.left - BEFORE_SURGERY - AXIS_BEFORE
    labels += [
        Label(f"{value:g}", left - 2, y, "end") for value, y in ((panel.high, plot + 9), (panel.low, bottom + 1))
    ]
    spots = tuple(_spots(panel.points, panel, axis.x, (plot, bottom)))
    before = (
        next(_spots([panel.before], panel, lambda _year: axis.left - BEFORE_SURGERY, (plot, bottom)), None)
        if panel.before
        else None
    )
    if frame.ends and spots and panel.end:
        y = min(max(spots[-1].y + 5, plot + 11), bottom - 2)
        labels.append(Label(panel.end, spots[-1].x + AFTER_POINT, y, letters=BOLD, ink="ink"))
    if panel.empty and not spots:
        labels += folded_labels(panel.empty, axis.left + 8, plot + HIGH / 2 - 4, frame.end - axis.left - 8, most=3)
    labels += _counts(panel, figure.observed, frame, max(bottom + ABOVE_COUNTS, beside_it + LINE))
    return PanelLayout(plot, bottom, left, before, spots, tuple(labels))


def _above(panel: CoursePanel, heading: Label, frame: Frame) -> list[Label]:
    """Where there is no room beside the plot: the mean of the last year at the end of the heading or below it, and the scale."""
    found: list[Label] = []
    if panel.end:
        end = Label(panel.end, frame.end, heading.y, "end", BOLD, "ink")
        beside = heading.box.right + AFTER_POINT < end.box.left
        found.append(end if beside else replace(end, y=heading.y + LINE + 2))
    y = max([heading.y, *(label.y for label in found)])
    return found + folded_labels(panel.scale, EDGE, y + LINE + 2, frame.room)


def _spots(
    points: Iterable[CoursePoint], panel: CoursePanel, x: Callable[[float], float], plot: tuple[float, float]
) -> Iterator[Spot]:
    """Those that are drawn at all."""
    top, bottom = plot

    def y(value: float) -> float:
        """Limits may lie beyond the end of the scale, where there is no score: they are cut at it."""
        held = min(max(value, panel.low), panel.high)
        return bottom - (bottom - top) * (held - panel.low) / (panel.high - panel.low)

    for point in points:
        weight = weight_of(point.n)
        if weight is not None:
            limits = None if point.lower is None or point.upper is None else (y(point.upper), y(point.lower))
            yield Spot(point, weight, x(point.year), y(point.mean), limits, (y(point.high), y(point.low)))


def _counts(panel: CoursePanel, observed: str, frame: Frame, y: float) -> list[Label]:
    """How many were observed, under each year that has room for a number."""
    axis = frame.axis
    counts = {point.year: str(point.n) for point in panel.points}
    texts = [*counts.values(), *([str(panel.before.n)] if panel.before else [])]
    shown = axis.numbered(max(map(PLAIN.width, texts), default=0.0))
    found = folded_labels(observed, EDGE, y, frame.room, most=2)
    on = y if frame.beside else found[-1].y + LINE
    if panel.before is not None:
        found.append(Label(str(panel.before.n), axis.left - 2, on, "end"))
    return found + [axis.number(counts[year], year, on, PLAIN, "soft") for year in shown if year in counts]


def _said_at_lines(
    figure: CourseFigure, panels: Iterable[PanelLayout], frame: Frame
) -> tuple[tuple[Label, ...], tuple[Leader, ...]]:
    """What the band and the line are, each once, in a panel where the words have room above or below all that is drawn."""
    labels: list[Label] = []
    leaders: list[Leader] = []
    known = tuple(panels)
    for text, share in ((figure.band, 0.3), (figure.mean, 0.75)):
        for panel in known:
            found = _place(text, share, panel, frame, labels)
            if found is not None:
                labels.append(found[0])
                leaders.append(found[1])
                break
    return tuple(labels), tuple(leaders)


def _place(
    text: str, share: float, panel: PanelLayout, frame: Frame, taken: Iterable[Label]
) -> tuple[Label, Leader] | None:
    """Words in the middle above or below a spot `share` of the way along; moved inward so that they stay between operation and edge."""
    if len(panel.spots) < 2:
        return None
    spot = panel.spots[int(share * (len(panel.spots) - 1) + 0.5)]
    half = PLAIN.width(text) / 2
    x = min(max(spot.x, frame.axis.left + 8 + half), frame.axis.right - half)
    drawn = [
        box for each in panel.spots for box in (each.box, Box(each.x - 20, each.band[0], each.x + 20, each.band[1]))
    ]
    drawn += [label.box for label in (*panel.labels, *taken)]
    for y, to in ((panel.bottom - 5, max), (panel.top + 12, min)):
        label = Label(text, x, y, "middle")
        wide = Box(label.box.left - 6, label.box.top - 3, label.box.right + 6, label.box.bottom + 3)
        if label.box.left > frame.axis.left and not any(wide.touches(box) for box in drawn):
            edge = to(spot.band) if share < 0.5 else spot.y
            ends = (edge, label.box.top) if to is max else (label.box.bottom, edge)
            return label, Leader(min(max(spot.x, label.box.left + 4), label.box.right - 4), *ends)
    return None
