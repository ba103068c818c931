"""Where a rising function reaches a value: limits are found from their definition."""

from collections.abc import Callable


def reached(rising: Callable[[float], float], target: float, low: float, high: float) -> float:
    """The argument between `low` and `high` at which `rising` reaches `target`, halved until no number lies between."""
    while low < (middle := (low + high) / 2) < high:
        if rising(middle) < target:
            low = middle
        else:
            high = middle
    return high
