"""What every figure over years shares: how wide its parts are, the axis of years, and which years have room for a number."""

from dataclasses import dataclass

from server.outcomes.figures.label_boxes import Letters
from server.outcomes.figures.svg import BOLD, Label, folded_labels, line

EDGE = 2
BESIDE_FROM = 480  # from this width on, words stand left of the axis; below it, above what they name
LEAST_BESIDE, MOST_BESIDE, BESIDE_OF_WIDTH = 158, 226, 0.22  # how wide those words are
LEAST_AXIS = 290  # what words at the ends of lines leave of it; where it would be shorter, they stand left of it
TO_AXIS = 28  # for the numbers of an upright axis
BEFORE_SURGERY, AXIS_BEFORE = (
    12,
    5,
)  # how far left of surgery what was before it lies, and how much further the axis begins
NUMBERS_APART = 5
BEFORE_COUNT = 8  # between the words of a row and its first count
AFTER_LAST = 17  # half a number
TICK, LONG_TICK = 8, 13
EVERY = (1, 2, 3, 5, 10, 20)


@dataclass(frozen=True)
class YearAxis:
    """`left` is the operation, `right` the last year."""

    left: float
    right: float
    last: int

    def x(self, year: float) -> float:
        return self.left + (self.right - self.left) * year / max(1, self.last)

    @property
    def step(self) -> float:
        return self.x(1) - self.x(0)

    def numbered(self, widest: float) -> tuple[int, ...]:
        """The years that have room for a number of that width: every one, every second from the first on, every third and so on."""
        room = widest + NUMBERS_APART + self._moved(widest)
        every = next((each for each in EVERY if each * self.step >= room), EVERY[-1])
        years = range(1 if every <= 2 else every, self.last + 1, every)
        return tuple(years) or (self.last,)

    def number(self, text: str, year: int, y: float, letters: Letters, ink: str) -> Label:
        """In the middle under its year; under the last one moved to the left as far as the edge makes it."""
        moved = self._moved(letters.width(text)) if year == self.last else 0
        return Label(text, self.x(year) - moved, y, "middle", letters, ink)

    def _moved(self, wide: float) -> float:
        return max(0.0, wide / 2 - AFTER_LAST)


@dataclass(frozen=True)
class Frame:
    """What lies from `begin` to `end` of a drawing; words begin at `begin`.

    `beside`: how wide the words left of the axis may be; 0 where they stand above what they name. `ends`: whether words have room right of
    the last year.
    """

    begin: float
    end: float
    beside: float
    ends: bool
    axis: YearAxis

    @property
    def room(self) -> float:
        """For words above what they name."""
        return self.beside or self.end - self.begin - EDGE

    def room_before(self, x: float, widest: float) -> float:
        """For the words of a row whose first count, at most `widest`, stands in the middle at `x`."""
        return max(self.beside, x - widest / 2 - BEFORE_COUNT - self.begin) if self.beside else self.room


def frame_of(
    width: float, last: int, end_words: float = 0, *, begin: float = 0, least_beside: float = LEAST_BESIDE
) -> Frame:
    """Of a drawing that ends at `width`. `end_words`: how wide the words are that would stand right of the last year."""
    wide = width - begin
    beside = 0 if wide < BESIDE_FROM else min(MOST_BESIDE, max(least_beside, BESIDE_OF_WIDTH * wide))
    left, end = begin + EDGE + beside + TO_AXIS + AXIS_BEFORE + BEFORE_SURGERY, width - EDGE
    ends = bool(beside and end_words) and end - end_words - left >= LEAST_AXIS
    axis = YearAxis(left, end - max(AFTER_LAST, end_words if ends else 0), last)
    return Frame(begin + EDGE, end, beside, ends, axis)


@dataclass(frozen=True)
class AxisLayout:
    axis: YearAxis
    y: float
    labels: tuple[Label, ...]
    bottom: float

    def draw(self) -> str:
        """Elements for a picture, without one of its own."""
        axis, y = self.axis, self.y
        marks = [line(axis.left - BEFORE_SURGERY - AXIS_BEFORE, y, axis.right + 7, y, ink="ink", wide=1.3)]
        for year in range(axis.last + 1):
            long = year % 5 == 0
            marks.append(
                line(
                    axis.x(year),
                    y - (LONG_TICK if long else TICK),
                    axis.x(year),
                    y,
                    ink="ink",
                    wide=2.6 if long else 1.5,
                )
            )
        return "".join((*marks, *(label.draw() for label in self.labels)))


def lay_out_axis(frame: Frame, title: str, top: float) -> AxisLayout:
    """Ticks for every year, longer at the operation and each fifth, with numbers below as far as there is room."""
    axis = frame.axis
    said = folded_labels(title, frame.begin, top + 13, frame.room, most=2)
    y = top + LONG_TICK + 2 if frame.beside else said[-1].y + 6 + LONG_TICK
    shown = axis.numbered(BOLD.width(str(axis.last)))
    numbers = [axis.number(str(year), year, y + 16, BOLD, "ink") for year in shown]
    return AxisLayout(axis, y, (*said, *numbers), max(y + 16, said[-1].y) + 4)
