"""How one row of the flow is drawn: one function for each mark, as tick beside tick, or solid where ticks would be no longer apart.

The marks are the year marks of the staff pages: answered is full, missed is dotted, not expected leans to the right, never asked
is short and leans to the left. They differ by shape, so that a print in grey says the same.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from server.outcomes.figures import fillings
from server.outcomes.figures.fillings import move
from server.outcomes.figures.flow import Mark
from server.outcomes.figures.label_boxes import Box
from server.outcomes.figures.svg import line, strokes

CLOSEST = 2.0  # in pixels; ticks that are closer shimmer


@dataclass(frozen=True)
class Band:
    """`count` operations beside each other, `each` pixels apart."""

    count: int
    each: float
    left: float
    top: float
    bottom: float

    @property
    def right(self) -> float:
        return self.left + self.count * self.each

    @property
    def box(self) -> Box:
        return Box(self.left, self.top, self.right, self.bottom)

    @property
    def solid(self) -> bool:
        return self.each < CLOSEST

    @property
    def places(self) -> Iterator[float]:
        return (self.left + (number + 0.5) * self.each for number in range(self.count))


def draw_answered(band: Band) -> str:
    if band.solid:
        return fillings.full(band.box)
    return strokes(_upright(band), ink="ink", wide=min(1.6, band.each / 2))


def draw_lost(band: Band, mark: Mark) -> str:
    """The row's mark on the line that it fell to."""
    if not band.count:
        return ""
    return MARKS[mark](band) + line(band.left, band.bottom, band.right, band.bottom, ink="soft")


def _missed(band: Band) -> str:
    if not band.solid:
        return strokes(_upright(band), ink="ink", wide=min(1.6, band.each / 2), dashes="2 2")
    return fillings.dotted(band.box)


def _not_expected(band: Band) -> str:
    if not band.solid:
        return strokes(_leaning(band, 3.2, band.top), ink="ink", wide=1.1)
    return fillings.hatched(band.box)


def _never_asked(band: Band) -> str:
    if band.solid:
        return fillings.hollow(band.box)
    return strokes(_leaning(band, -3.2, band.top + 7), ink="ink", wide=1.1)


def _not_meant(band: Band) -> str:
    if band.solid:
        return fillings.box(band.box, fill="coming", edge="gone", opacity=0.35)
    return strokes(_upright(band), ink="gone", wide=1)


MARKS: dict[Mark, Callable[[Band], str]] = {
    "missed": _missed,
    "not_expected": _not_expected,
    "never_asked": _never_asked,
    "not_meant": _not_meant,
}


def _upright(band: Band) -> str:
    return "".join(move(x, band.bottom, x, band.top) for x in band.places)


def _leaning(band: Band, lean: float, top: float) -> str:
    return "".join(move(x - lean / 2, band.bottom, x + lean / 2, top) for x in band.places)
