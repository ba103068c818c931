"""Instants as a phone writes them (server/sync/PROTOCOL.md), within limits that every later sum stays inside."""

import re
from datetime import UTC, datetime

# A phone without a clock says 1970. What lies outside is no phone's clock, and would overflow when a time zone is added.
FIRST_INSTANT = datetime(1970, 1, 1, tzinfo=UTC)
END_OF_INSTANTS = datetime(2100, 1, 1, tzinfo=UTC)
INSTANT = re.compile(r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$", re.ASCII)


def read_instant(value: object) -> datetime | None:
    """None for what is no instant, or one outside the limits."""
    if not isinstance(value, str) or not INSTANT.fullmatch(value):
        return None
    try:
        instant = datetime.fromisoformat(value)
    except ValueError:  # such as the 30th of February
        return None
    return instant if FIRST_INSTANT <= instant < END_OF_INSTANTS else None
