"""Steps of shares that rise by weeks after surgery, one panel for each, over one axis of weeks.

An event of which only two looks tell lies somewhere between them: there the step is a box and no line, as it is not known where in it
the share rises.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from server.outcomes.figures.fade import Weight, weight_of
from server.outcomes.figures.label_boxes import Box, Letters
from server.outcomes.figures.svg import BOLD, HEADING, LINE, PLAIN, Label, folded_labels
from server.outcomes.figures.years import AXIS_BEFORE, BEFORE_SURGERY, Frame

PANEL, PANELS_APART = 72, 15
GRID = (0, 100)
TO_END = 12
CLEAR = 4  # of words beside an axis to the numbers of its scale
QUARTER = 13  # weeks between long ticks
TICK, LONG_TICK = 7, 12
LEAST_BESIDE_AXIS = 2.4  # pixels between ticks
ROW_APART = 3


@dataclass(frozen=True)
class Rise:
    """The share rises from `before` to `after` somewhere in (left, right], or at the time itself. `waiting`: just before `left`."""

    left: float
    right: float
    before: float
    after: float
    waiting: int


@dataclass(frozen=True)
class WeekSteps:
    """`end`: what is said at the end of the line, the first of its lines in bold. `waiting`: still waited for at each quarter.

    `last`: the week at which the line ends, since nothing is known later or too few are waited for.
    """

    heading: str
    lead: str
    rises: tuple[Rise, ...]
    last: float
    end: tuple[str, ...]
    waiting_label: str
    waiting: tuple[int, ...]


@dataclass(frozen=True)
class Piece:
    """A flat part of a line, or an upright one."""

    x1: float
    y1: float
    x2: float
    y2: float
    weight: Weight


@dataclass(frozen=True)
class Unknown:
    """Where it is not known when a share rises."""

    box: Box
    weight: Weight


@dataclass(frozen=True)
class PanelLayout:
    top: float
    pieces: tuple[Piece, ...]
    unknown: tuple[Unknown, ...]

    @property
    def grid(self) -> tuple[float, ...]:
        return tuple(self.top + PANEL * (1 - share / 100) for share in GRID)


@dataclass(frozen=True)
class StepsLayout:
    """`ticks`: each with how long it is."""

    panels: tuple[PanelLayout, ...]
    labels: tuple[Label, ...]
    axis_y: float
    ticks: tuple[tuple[float, float], ...]
    left: float
    right: float
    bottom: float


def steps_end_width(steps: Sequence[WeekSteps]) -> float:
    """How much room what is said at the ends of the lines takes."""
    said = (letters.width(text) for each in steps for text, letters in _end_letters(each))
    return TO_END + max(said, default=0.0)


def lay_out_steps(steps: Sequence[WeekSteps], frame: Frame, axis_title: str, top: float) -> StepsLayout:
    """Panels under each other from `top` down, the axis of weeks, and how many were still waited for at each quarter."""
    labels: list[Label] = []
    panels: list[PanelLayout] = []
    y = top
    for each in steps:
        said = _beside(each, frame, y) if frame.beside else _above(each, frame, y)
        panel_top = y if frame.beside else said[-1].y + 14
        panels.append(_panel(each, frame, panel_top))
        labels += [*said, *_scale(frame, panel_top)]
        y = max(panel_top + PANEL, *(label.box.bottom for label in said)) + PANELS_APART
    title = folded_labels(axis_title, frame.begin, y + 9, frame.room, most=2)
    axis_y = y + LONG_TICK - 4 if frame.beside else title[-1].y + 6 + LONG_TICK
    quarters = range(0, frame.axis.last + 1, QUARTER)
    numbers = [Label(str(week), frame.axis.x(week), axis_y + 16, "middle", BOLD, "ink") for week in quarters]
    rows, y = _waiting(steps, frame, max(axis_y + 22, title[-1].y + 4), tuple(quarters))
    labels += [*title, *numbers, *rows]
    ticks = tuple(_ticks(frame))
    return StepsLayout(tuple(panels), tuple(labels), axis_y, ticks, frame.axis.left, frame.axis.right, y)


def _end_letters(each: WeekSteps) -> Iterator[tuple[str, Letters]]:
    for number, text in enumerate(each.end):
        yield text, PLAIN if number else BOLD


def _beside(each: WeekSteps, frame: Frame, top: float) -> list[Label]:
    room = frame.beside - CLEAR
    labels = folded_labels(
        each.heading, frame.begin, top + 15, room, letters=HEADING if frame.ends else BOLD, ink="ink"
    )
    labels += folded_labels(each.lead, frame.begin, labels[-1].y + LINE, room, most=6)
    if not frame.ends:
        ends = " ".join(each.end)
        return labels + folded_labels(ends, frame.begin, labels[-1].y + LINE, room, letters=BOLD, ink="ink")
    x = frame.axis.right + TO_END
    middle = top + PANEL * (1 - _level(each)) + 5
    first = min(max(middle, top + 10), top + PANEL - LINE * (len(each.end) - 1) - 4)
    for number, (text, letters) in enumerate(_end_letters(each)):
        labels.append(Label(text, x, first + number * LINE, letters=letters, ink="soft" if number else "ink"))
    return labels


def _above(each: WeekSteps, frame: Frame, top: float) -> list[Label]:
    said = f"{each.lead}: {' '.join(each.end)}" if each.end else each.lead
    labels = folded_labels(each.heading, frame.begin, top + 15, frame.room, letters=HEADING, ink="ink")
    return labels + folded_labels(said, frame.begin, labels[-1].y + LINE + 2, frame.room, most=6)


def _level(each: WeekSteps) -> float:
    return max((rise.after for rise in each.rises if rise.right <= each.last), default=0.0)


def _scale(frame: Frame, top: float) -> Iterator[Label]:
    x = frame.axis.left - BEFORE_SURGERY - AXIS_BEFORE - 2
    for share in GRID:
        yield Label(str(share), x, top + PANEL * (1 - share / 100) + 5, "end")


def _panel(each: WeekSteps, frame: Frame, top: float) -> PanelLayout:
    """Flat from one rise to the next. A box stands where a rise is not known to the day; beyond the last week nothing stands."""
    pieces: list[Piece] = []
    unknown: list[Unknown] = []
    x = frame.axis.x

    def y(share: float) -> float:
        return top + PANEL * (1 - share)

    at, level, until = 0.0, 0.0, each.last
    weight = weight_of(each.rises[0].waiting if each.rises else each.waiting[0])
    for rise in each.rises:
        if rise.right > each.last:
            until = min(until, rise.left)
            break
        if weight is not None:
            pieces.append(Piece(x(at), y(level), x(rise.left), y(level), weight))
        weight = weight_of(rise.waiting)
        if weight is None:
            break
        if rise.left == rise.right:
            pieces.append(Piece(x(rise.left), y(rise.before), x(rise.left), y(rise.after), weight))
        else:
            unknown.append(Unknown(Box(x(rise.left), y(rise.after), x(rise.right), y(rise.before)), weight))
        at, level = rise.right, rise.after
    if weight is not None and until > at:
        pieces.append(Piece(x(at), y(level), x(until), y(level), weight))
    return PanelLayout(top, tuple(pieces), tuple(unknown))


def _ticks(frame: Frame) -> Iterator[tuple[float, float]]:
    every = 1 if frame.axis.step >= LEAST_BESIDE_AXIS else 2
    for week in range(frame.axis.last + 1):
        if week % QUARTER == 0:
            yield frame.axis.x(week), LONG_TICK
        elif week % every == 0:
            yield frame.axis.x(week), TICK


def _waiting(steps: Sequence[WeekSteps], frame: Frame, y: float, quarters: Sequence[int]) -> tuple[list[Label], float]:
    labels: list[Label] = []
    widest = max(PLAIN.width(str(count)) for each in steps for count in each.waiting)
    for each in steps:
        room = frame.room_before(frame.axis.left, widest)
        said = folded_labels(each.waiting_label, frame.begin, y + 14, room, ink="ink")
        at = y + 14 if frame.beside else said[-1].y + LINE
        counts = [
            Label(str(count), frame.axis.x(week), at, "middle", PLAIN, "soft")
            for week, count in zip(quarters, each.waiting, strict=False)
        ]
        labels += [*said, *counts]
        y = max(label.y for label in (*said, *counts)) + 4 + ROW_APART
    return labels, y
