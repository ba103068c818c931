"""Where things lie in the figure of recovery: the share at each of a few windows, and beside it or below it how shares rise by weeks.

The windows are columns of equal width, as their dots stand for separate questions and are not joined. The steps share one axis of weeks.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from server.outcomes.figures.fade import Weight, weight_of
from server.outcomes.figures.label_boxes import Box, fold
from server.outcomes.figures.svg import BOLD, HEADING, LINE, PLAIN, Label, folded_labels
from server.outcomes.figures.weeks_layout import CLEAR, StepsLayout, WeekSteps, lay_out_steps, steps_end_width
from server.outcomes.figures.years import AXIS_BEFORE, BEFORE_SURGERY, BESIDE_FROM, EDGE, Frame, frame_of

PLOT = 92
TOP = 6
GRID = (0, 50, 100)
DOT, THIN_DOT = 4.2, 3.2
ROW_APART, RULE_APART = 3, 6
GUTTER = 44
LEAST_BESIDE = 196  # weeks need less room than years, and more is said of them
HALVES_FROM = 2 * BESIDE_FROM + GUTTER  # pixels; below it the steps lie below the windows


@dataclass(frozen=True)
class WindowShare:
    """`name` and, where there is no room for it, `short`. The share of 0 to 1 with its limits, of so many; None where there is none."""

    name: str
    short: str
    of: int
    share: float | None = None
    lower: float | None = None
    upper: float | None = None


@dataclass(frozen=True)
class Counts:
    """One row of counts, one for each column. `strong`: in bold, below a line."""

    label: str
    counts: tuple[str, ...]
    strong: bool = False


@dataclass(frozen=True)
class RecoveryFigure:
    """`columns` and `by_event` head the counts of how the waiting ended; `steps` and both are empty where nobody was asked for weeks."""

    title: str
    heading: str
    lead: str
    windows: tuple[WindowShare, ...]
    rows: tuple[Counts, ...]
    steps: tuple[WeekSteps, ...]
    axis_title: str
    horizon: int
    columns: tuple[tuple[str, str], ...]
    by_event: tuple[Counts, ...]
    description: str


@dataclass(frozen=True)
class WindowDot:
    x: float
    y: float
    size: float
    lower: float
    upper: float
    weight: Weight

    @property
    def box(self) -> Box:
        return Box(
            self.x - self.size,
            min(self.upper, self.y - self.size),
            self.x + self.size,
            max(self.lower, self.y + self.size),
        )


class Rule(NamedTuple):
    """A line across."""

    left: float
    right: float
    y: float


@dataclass(frozen=True)
class RecoveryLayout:
    """`frame`: that of the windows."""

    width: int
    height: float
    frame: Frame
    top: float
    dots: tuple[WindowDot, ...]
    labels: tuple[Label, ...]
    rules: tuple[Rule, ...]
    steps: StepsLayout | None

    @property
    def grid(self) -> tuple[float, ...]:
        return tuple(self.top + PLOT * (1 - share / 100) for share in GRID)


def lay_out_recovery(figure: RecoveryFigure, width: int) -> RecoveryLayout:
    """A place for everything: windows with their counts, then the steps with theirs."""
    halves = bool(figure.steps) and width >= HALVES_FROM
    half = (width - GUTTER) / 2 if halves else float(width)
    frame = frame_of(half, figure.horizon, least_beside=LEAST_BESIDE)
    labels = folded_labels(figure.heading, EDGE, TOP + 18, frame.room - CLEAR, letters=HEADING, ink="ink")
    labels += folded_labels(figure.lead, EDGE, labels[-1].y + LINE + 2, frame.room - CLEAR, most=6)
    top = TOP + 8.0 if frame.beside else labels[-1].y + LINE
    dots = tuple(_dots(figure.windows, frame, top))
    names = [(each.name, each.short) for each in figure.windows]
    found, rules, y = _counted(names, figure.rows, frame, top + PLOT + 19, labels[-1].y)
    labels += [*_scale(frame, top), *found]
    steps = None
    if figure.steps:
        end_words = steps_end_width(figure.steps)
        of_steps = frame_of(width, figure.horizon, end_words, begin=width - half, least_beside=LEAST_BESIDE)
        steps = lay_out_steps(figure.steps, of_steps, figure.axis_title, TOP + 3 if halves else y + 18)
        below = y if halves else steps.bottom
        found, more, y = _counted(figure.columns, figure.by_event, frame, below + 20)
        labels, rules, y = [*labels, *found], rules + more, max(y, steps.bottom)
    return RecoveryLayout(width, y + 2, frame, top, dots, tuple(labels), tuple(rules), steps)


def _columns(frame: Frame, number: int) -> Iterator[float]:
    """The middle of each."""
    left, right = frame.axis.left - BEFORE_SURGERY, frame.end
    for place in range(number):
        yield left + (right - left) * (place + 0.5) / number


def _apart(places: Sequence[float]) -> float:
    return places[1] - places[0] if len(places) > 1 else 10_000


def _names(names: Sequence[tuple[str, str]], places: Sequence[float], y: float) -> list[Label]:
    """In full where all of them have room beside each other, else short, and folded where that is not enough."""
    room = _apart(places) - 2
    for said in zip(*names, strict=True):
        if all(BOLD.width(name) <= room for name in said):
            return [Label(text, x, y, "middle", BOLD, "ink") for text, x in zip(said, places, strict=True)]
    return [
        Label(line, x, y + number * LINE, "middle", PLAIN, "ink")
        for (_name, short), x in zip(names, places, strict=True)
        for number, line in enumerate(fold(short, room, PLAIN, most=3))
    ]


def _dots(windows: Sequence[WindowShare], frame: Frame, top: float) -> Iterator[WindowDot]:
    """Only those of whom enough were observed."""
    for each, x in zip(windows, _columns(frame, len(windows)), strict=True):
        weight = weight_of(each.of)
        if weight is not None and each.share is not None and each.lower is not None and each.upper is not None:
            share, lower, upper = (top + PLOT * (1 - at) for at in (each.share, each.lower, each.upper))
            yield WindowDot(x, share, DOT if weight.line > 2 else THIN_DOT, lower, upper, weight)


def _scale(frame: Frame, top: float) -> Iterator[Label]:
    x = frame.axis.left - BEFORE_SURGERY - AXIS_BEFORE - 2
    for share in GRID:
        yield Label(str(share), x, top + PLOT * (1 - share / 100) + 5, "end")


def _counted(
    heads: Sequence[tuple[str, str]], rows: Sequence[Counts], frame: Frame, y: float, below: float = 0
) -> tuple[list[Label], list[Rule], float]:
    """The heads of columns, their rows of counts, which begin under `below`, the lines between these, and where all ends."""
    places = tuple(_columns(frame, len(heads)))
    labels: list[Label] = _names(heads, places, y)
    rules: list[Rule] = []
    widest = max((PLAIN.width(text) for row in rows for text in row.counts), default=0.0)
    y = max(below, *(label.y for label in labels)) + 9 if labels else y
    for row in rows:
        letters, ink = (BOLD, "ink") if row.strong else (PLAIN, "soft")
        if row.strong:
            y += RULE_APART
            rules.append(Rule(frame.begin, frame.end, y))
        room = frame.room_before(places[0], widest)
        said = folded_labels(row.label, frame.begin, y + 14, room, most=6, letters=letters, ink="ink")
        at = y + 14 if frame.beside else said[-1].y + LINE
        counts = [Label(text, x, at, "middle", PLAIN, ink) for text, x in zip(row.counts, places, strict=True)]
        labels += [*said, *counts]
        y = max(label.y for label in (*said, *counts)) + 4 + ROW_APART
    return labels, rules, y
