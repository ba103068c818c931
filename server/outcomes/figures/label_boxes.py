"""Room for words in a picture: how wide they become at most, folding them, and moving them apart. Pure arithmetic.

A page does not know the reader's fonts, so the widths are those of a wide one (DejaVu); in any other the words take less room.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

# Of the height of the letters: how wide they are at most.
SLIM, NARROW, ROUND, CAPITAL, BROAD = 0.3, 0.42, 0.64, 0.79, 1.0
BOLD, BOLD_DIGIT = 1.18, 1.1
ASCENT, DESCENT = 0.78, 0.24
LEFT_OUT = "…"


@dataclass(frozen=True)
class Box:
    left: float
    top: float
    right: float
    bottom: float

    def touches(self, other: "Box") -> bool:
        beside = self.right <= other.left or other.right <= self.left
        return not beside and not (self.bottom <= other.top or other.bottom <= self.top)

    def inside(self, width: float, height: float) -> bool:
        return self.left >= 0 and self.top >= 0 and self.right <= width and self.bottom <= height


@dataclass(frozen=True)
class Letters:
    """How words are written: `size` in pixels, as the style sheet says for this class."""

    size: float
    bold: bool = False

    def width(self, text: str) -> float:
        if not self.bold:
            return sum(map(_letter, text)) * self.size
        return sum(_letter(sign) * (BOLD_DIGIT if sign.isdigit() else BOLD) for sign in text) * self.size


def _letter(sign: str) -> float:
    if sign in "ijlI'|":
        return SLIM
    if sign in " tfr.,:;!()[]-/":
        return NARROW
    if sign in "mwMW%@æœ…" or not sign.isascii():
        return BROAD
    return CAPITAL if sign.isupper() else ROUND


def cut(text: str, room: float, letters: Letters) -> str:
    """The text, or as much of its beginning as fits, with a sign that something is left out."""
    if letters.width(text) <= room:
        return text
    fits = text
    while fits and letters.width(fits.rstrip() + LEFT_OUT) > room:
        fits = fits[:-1]
    return fits.rstrip() + LEFT_OUT


def fold(text: str, room: float, letters: Letters, *, most: int, indent: float = 0) -> list[str]:
    """In at most `most` lines, broken between words; what does not fit then is cut. The first line begins `indent` later."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        left = room - indent if len(lines) == 1 else room
        if letters.width(longer) <= left or not lines[-1] or len(lines) == most:
            lines[-1] = longer
        else:
            lines.append(word)
    return [cut(lines[0], room - indent, letters), *(cut(line, room, letters) for line in lines[1:])]


def apart(wanted: Sequence[float], distance: float, first: float, last: float) -> list[float]:
    """Places in the order of `wanted`, at least `distance` from each other, each as near to its own as the others let it, between
    `first` and `last`. There must be room for all."""
    places: list[float] = []
    for place in wanted:
        places.append(max(place, first, *(each + distance for each in places[-1:])))
    for number in reversed(range(len(places))):
        limit = last - distance * (len(places) - 1 - number)
        places[number] = min(places[number], limit)
    assert all(after - before >= distance - 1e-6 for before, after in pairwise(places))
    return places
