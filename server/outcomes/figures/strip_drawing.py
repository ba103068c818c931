"""Draws the silence strip: answered full, silent dotted, never asked hollow, revised hatched, dead pale."""

from collections.abc import Callable, Mapping

from server.outcomes.figures import fillings
from server.outcomes.figures.label_boxes import Box
from server.outcomes.figures.strip_layout import Place, StripLayout
from server.outcomes.figures.svg import line

FILLINGS: Mapping[Place, Callable[[Box], str]] = {
    "answered": fillings.full,
    "silent": fillings.dotted,
    "never_asked": fillings.hollow,
    "revised": fillings.hatched,
    "dead": fillings.pale,
}


def draw_strip(strip: StripLayout) -> str:
    """Elements for a picture, without one of its own."""
    boxes = [FILLINGS[each.place](each.box) for each in (*strip.bars, *strip.keys)]
    rules = [line(strip.left, y, strip.right, y, ink="rule") for y in strip.rules]
    return "".join((*boxes, *rules, *(label.draw() for label in strip.labels)))
