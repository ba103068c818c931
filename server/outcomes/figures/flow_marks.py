"""How one row of the flow is drawn: one function for each mark, as tick beside tick, or solid where ticks would be no longer apart.

The marks are the year marks of the staff pages: answered is full, missed is dotted, not expected leans to the right, never asked
is short and leans to the left. They differ by shape, so that a print in grey says the same.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import ceil

from server.outcomes.figures.flow import Mark
from server.outcomes.figures.svg import element, line, strokes, token

CLOSEST = 2.0  # in pixels; ticks that are closer shimmer
DOTS, HATCHES = 4.0, 5.0


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
    def solid(self) -> bool:
        return self.each < CLOSEST

    @property
    def places(self) -> Iterator[float]:
        return (self.left + (number + 0.5) * self.each for number in range(self.count))


def draw_answered(band: Band) -> str:
    if band.solid:
        return _box(band, fill="ink", edge="ink")
    return strokes(_upright(band), ink="ink", wide=min(1.6, band.each / 2))


def draw_lost(band: Band, mark: Mark) -> str:
    """The row's mark on the line that it fell to."""
    if not band.count:
        return ""
    return MARKS[mark](band) + line(band.left, band.bottom, band.right, band.bottom, ink="soft")


def _missed(band: Band) -> str:
    if not band.solid:
        return strokes(_upright(band), ink="ink", wide=min(1.6, band.each / 2), dashes="2 2")
    rows = range(1, int((band.bottom - band.top) / DOTS) + 1)
    dots = "".join(_move(band.left + 2, y, band.right - 1, y) for y in (band.top - 1 + DOTS * row for row in rows))
    return _box(band, fill="paper", edge="gone") + strokes(dots, ink="ink", wide=1.6, dashes="1.6 2.4")


def _not_expected(band: Band) -> str:
    if not band.solid:
        return strokes(_leaning(band, 3.2, band.top), ink="ink", wide=1.1)
    return _box(band, fill="paper", edge="gone") + strokes(_hatched(band), ink="ink", wide=1.4)


def _never_asked(band: Band) -> str:
    if band.solid:
        return _box(band, fill="sheet", edge="gone")
    return strokes(_leaning(band, -3.2, band.top + 7), ink="ink", wide=1.1)


def _not_meant(band: Band) -> str:
    if band.solid:
        return _box(band, fill="coming", edge="gone", opacity=0.35)
    return strokes(_upright(band), ink="gone", wide=1)


MARKS: dict[Mark, Callable[[Band], str]] = {
    "missed": _missed,
    "not_expected": _not_expected,
    "never_asked": _never_asked,
    "not_meant": _not_meant,
}


def _box(band: Band, *, fill: str, edge: str, opacity: float = 1) -> str:
    return element(
        "rect",
        x=band.left,
        y=band.top,
        width=max(0.5, band.right - band.left),  # what is there is seen, be it thinner than a line
        height=band.bottom - band.top,
        fill=token(fill),
        fill_opacity=opacity,
        stroke=token(edge),
    )


def _move(x1: float, y1: float, x2: float, y2: float) -> str:
    return f"M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}"


def _upright(band: Band) -> str:
    return "".join(_move(x, band.bottom, x, band.top) for x in band.places)


def _leaning(band: Band, lean: float, top: float) -> str:
    return "".join(_move(x - lean / 2, band.bottom, x + lean / 2, top) for x in band.places)


def _hatched(band: Band) -> str:
    """Lines at 45 degrees, cut at the edges of the box."""
    high = band.bottom - band.top
    moves = []
    for number in range(ceil((band.right - band.left + high) / HATCHES)):
        foot = band.left - high + (number + 0.5) * HATCHES
        x1, x2 = max(foot, band.left), min(foot + high, band.right)
        moves.append(_move(x1, band.bottom - (x1 - foot), x2, band.bottom - (x2 - foot)) if x1 < x2 else "")
    return "".join(moves)
