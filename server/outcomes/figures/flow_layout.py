"""Where things lie in the flow. The words of a loss stand before its row, or after it, or else above it, folded."""

from collections.abc import Iterator
from dataclasses import dataclass

from server.outcomes.figures.flow import FlowFigure, Loss, Mark
from server.outcomes.figures.flow_marks import Band
from server.outcomes.figures.label_boxes import Box, fold
from server.outcomes.figures.svg import LINE, PLAIN, Words, count_width

EDGE = 2
GAP = 9
CLEAR = 3  # of the guide to the row below
RULER, LONG, TALL = 24, 6, 12  # the ruler, and how far below it each tenth and each numbered tick reaches
ROW, ROW_APART = 17, 6
NUMBERS_APART, MOST_NUMBERS = 16, 8
MOST_LINES = 6


@dataclass(frozen=True)
class Rule:
    """The line under the words of a step: it ends where its operations end on the ruler."""

    right: float
    y: float


@dataclass(frozen=True)
class Guide:
    """A faint line straight down, from a step to the ruler or from the ruler to a row."""

    x: float
    top: float
    bottom: float

    @property
    def box(self) -> Box:
        return Box(self.x - 2, self.top, self.x + 2, self.bottom)


@dataclass(frozen=True)
class Row:
    """What fell off; `under_words` where its words stand above it, folded, and do not show its place."""

    band: Band
    mark: Mark
    words: Words
    under_words: bool = False


@dataclass(frozen=True)
class FlowLayout:
    """`unit`: every how many operations the ruler's ticks are numbered. Guides that would run through words are left out."""

    width: int
    height: float
    unit: int
    words: tuple[Words, ...]
    rules: tuple[Rule, ...]
    ruler: Band
    rows: tuple[Row, ...]
    guides: tuple[Guide, ...]


def lay_out_flow(flow: FlowFigure, width: int) -> FlowLayout:
    """A place for everything, from the steps at the top to the first loss at the foot."""
    each = (width - 2 * EDGE) / max(1, flow.log)
    words, rules, y = _steps(flow, width, each)
    ruler = Band(flow.analysed, each, EDGE, y + 8, y + 8 + RULER)
    unit = _unit(ruler, PLAIN.width(str(flow.log)))
    words += _numbers(ruler, unit)
    y = ruler.bottom + TALL + (LINE if flow.analysed >= unit else 0) + 8
    rows = _rows(flow, ruler, y, width)
    y = max([y, *(row.band.bottom + ROW_APART for row in rows)])
    words += [row.words for row in rows]
    guides = [Guide(rule.right, rule.y, ruler.top) for rule in rules]
    guides += [Guide(row.band.left, ruler.bottom, row.band.bottom) for row in rows]
    clear = tuple(guide for guide in guides if not any(guide.box.touches(box) for said in words for box in said.boxes))
    return FlowLayout(width, y, unit, tuple(words), tuple(rules), ruler, tuple(rows), clear)


def _steps(flow: FlowFigure, width: int, each: float) -> tuple[list[Words], list[Rule], float]:
    found, rules, y = [], [], 0.0
    for step in flow.steps:
        lines = _folded(str(step.count), f"{step.label}, {flow.people(step.people)}", width)
        found.append(Words(str(step.count), lines, EDGE, y + 15))
        y += len(lines) * LINE + 7
        rules.append(Rule(EDGE + step.count * each, y - 5))
    return found, rules, y


def _folded(count: str, text: str, width: int) -> tuple[str, ...]:
    return tuple(fold(text, width - EDGE, PLAIN, most=MOST_LINES, indent=count_width(count)))


def _rows(flow: FlowFigure, ruler: Band, y: float, width: int) -> list[Row]:
    """Words above a row end over it only where those of all such rows can, so that they begin or end alike."""
    found: list[Row] = []
    places = [Band(0, ruler.each, ruler.right, y, y + ROW)]
    for loss in reversed(flow.losses):
        places.append(Band(loss.count, ruler.each, places[-1].right, y, y + ROW))
    losses = list(zip(reversed(flow.losses), places[1:], strict=True))
    # Words stand behind their mark only where all stand beside theirs: among words that stand above, a few behind look like another kind.
    behind = all(_wide(loss) + GAP <= max(band.left, width - band.right) for loss, band in losses)
    beside = [behind or _wide(loss) + GAP <= band.left for loss, band in losses]
    ending = all(
        is_beside or _wide(loss) <= band.right - CLEAR for is_beside, (loss, band) in zip(beside, losses, strict=True)
    )
    for is_beside, (loss, band) in zip(beside, losses, strict=True):
        lowered = _lower(band, y - band.top)
        found.append(_beside(flow, loss, lowered) if is_beside else _above(flow, loss, lowered, width, ending))
        y = found[-1].band.bottom + ROW_APART
    return found


def _wide(loss: Loss) -> float:
    return count_width(str(loss.count)) + PLAIN.width(loss.label)


def _words(flow: FlowFigure, loss: Loss, lines: tuple[str, ...], x: float, y: float, anchor: str = "start") -> Words:
    said = f"{loss.count} {loss.label}, {flow.people(loss.people)}"
    return Words(str(loss.count), lines, x, y, anchor, loss.href, said)


def _beside(flow: FlowFigure, loss: Loss, band: Band) -> Row:
    """The words of a loss before its band; where there is no room, behind it."""
    before = _wide(loss) + GAP <= band.left
    x, anchor = (band.left - GAP, "end") if before else (band.right + GAP, "start")
    return Row(band, loss.mark, _words(flow, loss, (loss.label,), x, band.bottom - 4, anchor))


def _above(flow: FlowFigure, loss: Loss, band: Band, width: int, ending: bool) -> Row:
    """The words of a loss above its band, which moves down."""
    if ending:
        words = _words(flow, loss, (loss.label,), band.right - CLEAR, band.top + 15, "end")
        return Row(_lower(band, LINE + 2), loss.mark, words)
    lines = _folded(str(loss.count), loss.label, width)
    words = _words(flow, loss, lines, EDGE, band.top + 15)
    return Row(_lower(band, len(lines) * LINE + 2), loss.mark, words, under_words=True)


def _lower(band: Band, down: float) -> Band:
    return Band(band.count, band.each, band.left, band.top + down, band.bottom + down)


def _unit(ruler: Band, number: float) -> int:
    """The first of 10, 20, 50, 100 and so on whose numbers, each `number` wide, have room beside each other and are few."""
    apart = max(number + NUMBERS_APART, (ruler.right - ruler.left) / MOST_NUMBERS)
    unit = 10
    while unit * ruler.each < apart:
        unit = unit * 5 // 2 if str(unit).startswith("2") else unit * 2
    return unit


def _numbers(ruler: Band, unit: int) -> list[Words]:
    """Under the ticks of the ruler, as far as they do not reach into what fell off."""
    found = []
    for number in range(unit, ruler.count + 1, unit):
        at = Words("", (str(number),), tick_place(ruler, number), ruler.bottom + TALL + 14, "middle")
        if at.boxes[0].right <= ruler.right:
            found.append(at)
    return found


def tick_place(ruler: Band, number: int) -> float:
    return ruler.left + (number - 0.5) * ruler.each


def longer_ticks(layout: FlowLayout) -> Iterator[tuple[float, int]]:
    """The ticks that reach below the ruler: each numbered one, and those between where they do not come too close."""
    step = 10 ** (len(str(layout.unit // 2)) - 1)
    for number in range(step, layout.ruler.count + 1, step):
        yield tick_place(layout.ruler, number), TALL if number % layout.unit == 0 else LONG
