"""Where things lie in the figure of two shoulders: columns beside each other as far as there is room, then everybody, then the share."""

from dataclasses import dataclass

from server.outcomes.figures.flow_marks import Band
from server.outcomes.figures.label_boxes import Box, fold
from server.outcomes.figures.preference import Column, PreferenceFigure, Ruler, Tick
from server.outcomes.figures.svg import BOLD, LINE, PLAIN, Label, Words, count_width, folded_labels

EDGE = 8
NARROWEST = 112  # a column: two stand beside each other on the narrowest drawing
GAP, ROW_GAP = 18, 26
PLOT = 132
INSET = 0.2  # of a column's width, how far its two ends lie inside it
MARK = 4.5
BAR, TICK = 18, 12
FURTHEST, TALL, SHORT = 16, 20, 10  # between the ticks of two people, and how tall these are


@dataclass(frozen=True)
class ColumnLayout:
    column: Column
    left: float
    right: float
    top: float
    best: float
    labels: tuple[Label, ...]
    words: Words

    @property
    def bottom(self) -> float:
        return self.top + PLOT

    @property
    def ends(self) -> tuple[float, float]:
        """Where the first and the second shoulder stand."""
        inside = (self.right - self.left) * INSET
        return self.left + inside, self.right - inside

    def y(self, rating: float) -> float:
        return self.bottom - rating / self.best * PLOT


@dataclass(frozen=True)
class RulerLayout:
    ruler: Ruler
    left: float
    right: float
    y: float
    labels: tuple[Label, ...]

    def x(self, share: float) -> float:
        return self.left + share * (self.right - self.left)

    @property
    def bar(self) -> Box:
        return Box(self.x(self.ruler.lower), self.y - BAR / 2, self.x(self.ruler.upper), self.y + BAR / 2)


@dataclass(frozen=True)
class KeyLayout:
    """A mark at the height of its words, which begin at `label.x`. `kind`: left, right, or line for a dashed one."""

    kind: str
    label: Label


@dataclass(frozen=True)
class PeopleLayout:
    """Everybody with one tick, in the order of the columns, those of one answer together with their number below."""

    bands: tuple[tuple[Band, Tick], ...]
    labels: tuple[Label, ...]
    bottom: float


@dataclass(frozen=True)
class PreferenceLayout:
    width: int
    height: float
    columns: tuple[ColumnLayout, ...]
    scale: tuple[Label, ...]
    key: tuple[KeyLayout, ...]
    people: PeopleLayout
    ruler: RulerLayout | None

    @property
    def labels(self) -> tuple[Label, ...]:
        found = [*self.scale, *(label for column in self.columns for label in column.labels)]
        found += [*(each.label for each in self.key), *self.people.labels]
        return (*found, *(self.ruler.labels if self.ruler is not None else ()))

    @property
    def boxes(self) -> list[Box]:
        """Of all words."""
        return [*(each.box for each in self.labels), *(box for column in self.columns for box in column.words.boxes)]


def lay_out_preference(figure: PreferenceFigure, width: int) -> PreferenceLayout:
    """A place for everything; columns that do not fit beside the others stand in a row below."""
    scale_room = PLAIN.width(str(figure.best)) + 8
    left, room = EDGE + scale_room, width - 2 * EDGE - scale_room
    in_row = max(1, min(len(figure.columns), int((room + GAP) // (_least(figure) + GAP))))
    each = (room - GAP * (in_row - 1)) / in_row
    top, key = _key(figure, width)
    columns: list[ColumnLayout] = []
    scale: list[Label] = []
    for begin in range(0, len(figure.columns), in_row):
        row = figure.columns[begin : begin + in_row]
        heads = [_head(column, left + place * (each + GAP), top, each) for place, column in enumerate(row)]
        plot_top = max(bottom for _words, bottom in heads) + 12
        made = [_column(figure, column, head[0], plot_top, each) for column, head in zip(row, heads, strict=True)]
        scale += [Label(str(at), left - 6, made[0].y(at) + 5, "end") for at in (0, figure.best // 2, figure.best)]
        columns += made
        top = max(label.box.bottom for column in made for label in column.labels) + ROW_GAP
    people = _people(figure, width, top)
    ruler, bottom = (None, people.bottom) if figure.ruler is None else _ruler(figure.ruler, width, people.bottom)
    return PreferenceLayout(width, bottom, tuple(columns), tuple(scale), tuple(key), people, ruler)


def _least(figure: PreferenceFigure) -> float:
    """How wide a column has to be so that no word in it is cut."""
    heads = [count_width(str(each.count)) + PLAIN.width(each.words.split()[0]) for each in figure.columns]
    texts = (*figure.names, *(each.words for each in figure.columns))
    return max(NARROWEST, *heads, *(PLAIN.width(word) for text in texts for word in text.split()))


def _key(figure: PreferenceFigure, width: int) -> tuple[float, list[KeyLayout]]:
    """What rating it is, then the marks with their words, on as many lines as they take; and where they end."""
    x, y = float(EDGE), 16.0
    found: list[KeyLayout] = []
    for kind, text in (
        ("", figure.rating_words),
        ("left", figure.left_words),
        ("right", figure.right_words),
        ("line", figure.lower_words),
    ):
        before = {"": 0, "line": 34}.get(kind, 18)
        if x > EDGE and x + before + PLAIN.width(text) > width - EDGE:
            x, y = float(EDGE), y + LINE
        lines = folded_labels(text, x + before, y, width - EDGE - x - before)
        found += [KeyLayout(kind if place == 0 else "", label) for place, label in enumerate(lines)]
        y = lines[-1].y
        x = lines[-1].box.right + 18
    return y + LINE, found


def _head(column: Column, left: float, top: float, width: float) -> tuple[Words, float]:
    lines = tuple(fold(column.words, width, PLAIN, most=6, indent=count_width(str(column.count))))
    words = Words(str(column.count), lines, left, top + 16)
    return words, words.boxes[-1].bottom


def _column(figure: PreferenceFigure, column: Column, head: Words, top: float, width: float) -> ColumnLayout:
    left = head.x
    first, second = (fold(name, width, PLAIN, most=5) for name in figure.names)
    labels = [Label(text, left, top + PLOT + 22 + LINE * place) for place, text in enumerate(first)]
    below = top + PLOT + 22 + LINE * len(first)
    labels += [Label(text, left + width, below + LINE * place, "end") for place, text in enumerate(second)]
    return ColumnLayout(column, left, left + width, top, figure.best, tuple(labels), head)


def _people(figure: PreferenceFigure, width: int, top: float) -> PeopleLayout:
    """Ticks as near to each other as all have room; between two answers as much as their numbers take."""
    columns = [column for column in figure.columns if column.count]
    widest = max((BOLD.width(str(column.count)) for column in columns), default=0.0)
    labels = folded_labels(figure.people_words, EDGE, top + 14, width - 2 * EDGE) if columns else []
    high = labels[-1].y + 10 if labels else top
    x, gap = EDGE + widest / 2, widest + 10
    room = width - 2 * x - gap * (len(columns) - 1)
    each = min(FURTHEST, room / max(1, sum(column.count for column in columns)))
    bands: list[tuple[Band, Tick]] = []
    for column in columns:
        tall = SHORT if column.tick == "no_difference" else TALL
        bands.append((Band(column.count, each, x, high + TALL - tall, high + TALL), column.tick))
        middle = x + column.count * each / 2
        labels.append(Label(str(column.count), middle, high + TALL + 17, "middle", BOLD, "ink"))
        x += column.count * each + gap
    return PeopleLayout(tuple(bands), tuple(labels), high + TALL + 17 + ROW_GAP / 2 if columns else top)


def _ruler(ruler: Ruler, width: int, top: float) -> tuple[RulerLayout, float]:
    left, right = float(EDGE + 2), float(width - EDGE - 2)
    said = folded_labels(ruler.words, left, top + 16, right - left, letters=BOLD, ink="ink")
    y = said[-1].y + 30
    none, half, every = ruler.ends
    under, room = y + TICK + 18, (right - left) / 2 - 6
    ends = [Label(half, (left + right) / 2, under, "middle")]
    for text, x, anchor in ((none, left, "start"), (every, right, "end")):
        ends += [Label(label.text, x, label.y, anchor) for label in folded_labels(text, x, under + LINE, room)]
    bottom = max(label.box.bottom for label in ends) + 4
    return RulerLayout(ruler, left, right, y, (*said, *ends)), bottom
