"""Numbers as they are printed, and a score or a change beside a published value at the decimals in which that was printed.

A value printed with decimals was rounded for print: 7 raw points of the QuickDASH are 15.909..., printed 15.91, and reach
it. A value printed as a whole number is taken as it stands.
"""

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from scoring.definition import Threshold
from scoring.steps import Exact, Number, fraction_of


def is_reached(threshold: Threshold, amount: Exact) -> bool:
    """Whether the amount is the threshold or more."""
    return _at_its_decimals(amount, threshold) >= fraction_of(threshold.value)


def is_exceeded(threshold: Threshold, amount: Exact) -> bool:
    return _at_its_decimals(amount, threshold) > fraction_of(threshold.value)


def half_up(value: Number, decimals: int) -> str:
    """The number as it is stored, rounded once for people: 51.25 is 51.3 with one decimal, and nothing is -0."""
    rounded = Decimal(repr(value)).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)
    return str(rounded if rounded else abs(rounded))


def decimals_of(value: Number) -> int:
    """2 for 15.91, 0 for 18, 18.0 and 20."""
    _sign, _digits, exponent = Decimal(repr(value)).normalize().as_tuple()
    return max(0, -int(exponent))


def _at_its_decimals(amount: Exact, threshold: Threshold) -> Exact:
    """A half goes upwards."""
    unit = 10 ** decimals_of(threshold.value)
    return Fraction((amount * unit + Fraction(1, 2)).__floor__(), unit) if unit > 1 else amount
