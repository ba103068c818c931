"""Shares as figures of the series say them: whole percents, with their limits."""

from math import floor

from server.outcomes.arithmetic.proportion import Interval
from server.staff.page import words

DASH = "–"


def percent(share: float) -> str:
    """Half a percent is rounded up."""
    return f"{_whole(share)} %"


def with_limits(found: Interval | None) -> str:
    """Such as "81 % (75 to 86)"; a dash where there is no share."""
    if found is None:
        return DASH
    return words.gettext("%(share)s (%(lower)s to %(upper)s)") % {
        "share": percent(found.estimate),
        "lower": _whole(found.lower),
        "upper": _whole(found.upper),
    }


def _whole(share: float) -> int:
    return floor(100 * share + 0.5)


def years_of(first: int, last: int) -> str:
    """Calendar years in a row, as digits alone."""
    return str(first) if first == last else f"{first}–{last}"
