"""The one rule by which every figure over time pales where few are left, and ends."""

from dataclasses import dataclass

FULL_FROM = 40  # observed or watched; below it a figure is thin
SHOWN_FROM = 10  # below it nothing is drawn, as one person more or less would move it too far


@dataclass(frozen=True)
class Weight:
    """`line` and `limits`: how wide, in pixels. `band`: the opacity of what is filled with the token `band`."""

    line: float
    limits: float
    band: float


FULL, THIN = Weight(line=2.3, limits=1.6, band=1), Weight(line=1.3, limits=1.2, band=0.55)


def weight_of(count: int) -> Weight | None:
    """How a place in a figure is drawn that `count` were observed or watched at; None where nothing is drawn.

    What joins two places has the weight of the thinner of them.
    """
    if count < SHOWN_FROM:
        return None
    return FULL if count >= FULL_FROM else THIN


def thinner(one: Weight, other: Weight) -> Weight:
    return min(one, other, key=lambda weight: weight.line)
