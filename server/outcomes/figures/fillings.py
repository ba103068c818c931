"""Boxes of the kinds that must be told apart in grey: full, dotted, hollow, hatched, pale. Strokes only, no patterns with names."""

from math import ceil

from server.outcomes.figures.label_boxes import Box
from server.outcomes.figures.svg import element, strokes, token

DOTS, HATCHES = 4.0, 5.0
THINNEST_DOTTED = 2.0  # a box lower than its distance of dots still has a row of them


def box(at: Box, *, fill: str, edge: str, opacity: float = 1) -> str:
    return element(
        "rect",
        x=at.left,
        y=at.top,
        width=max(0.5, at.right - at.left),  # what is there is seen, be it thinner than a line
        height=max(0.5, at.bottom - at.top),
        fill=token(fill),
        fill_opacity=opacity,
        stroke=token(edge),
    )


def full(at: Box) -> str:
    return box(at, fill="ink", edge="ink")


def dotted(at: Box) -> str:
    high = at.bottom - at.top
    rows = [at.top - 1 + DOTS * row for row in range(1, int(high / DOTS) + 1)]
    if not rows and high >= THINNEST_DOTTED:
        rows = [at.top + high / 2]
    dots = "".join(move(at.left + 2, y, at.right - 1, y) for y in rows)
    return box(at, fill="paper", edge="gone") + strokes(dots, ink="ink", wide=1.6, dashes="1.6 2.4")


def hollow(at: Box) -> str:
    return box(at, fill="sheet", edge="gone")


def hatched(at: Box) -> str:
    """Lines at 45 degrees, cut at the edges of the box."""
    high = at.bottom - at.top
    moves = []
    for number in range(ceil((at.right - at.left + high) / HATCHES)):
        foot = at.left - high + (number + 0.5) * HATCHES
        x1, x2 = max(foot, at.left), min(foot + high, at.right)
        moves.append(move(x1, at.bottom - (x1 - foot), x2, at.bottom - (x2 - foot)) if x1 < x2 else "")
    return box(at, fill="paper", edge="gone") + strokes("".join(moves), ink="ink", wide=1.4)


def pale(at: Box) -> str:
    return box(at, fill="band", edge="gone")


def move(x1: float, y1: float, x2: float, y2: float) -> str:
    return f"M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}"
