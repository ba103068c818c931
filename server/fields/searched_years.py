"""Years in words: `2004-2012, 2015` names nine years and one more. One reading of it for the settings page and for figures."""

import re

EXAMPLE = "2004-2012, 2015"
_YEARS = r"\s*(\d{4})\s*(?:[-–]\s*(\d{4})\s*)?"
_EARLIEST, _LATEST = 1900, 2199


def read_years(text: str) -> frozenset[int]:
    """Raises ValueError, with what is wrong, for what names no years. An empty text names none."""
    found: set[int] = set()
    for part in text.split(",") if text.strip() else ():
        match = re.fullmatch(_YEARS, part, re.ASCII)
        if match is None:
            raise ValueError(f"“{part.strip()}” names no years; write them such as {EXAMPLE}.")
        first, last = int(match[1]), int(match[2] or match[1])
        if not _EARLIEST <= first <= last <= _LATEST:
            raise ValueError(f"“{part.strip()}” cannot be; years go from the earlier to the later, such as {EXAMPLE}.")
        found.update(range(first, last + 1))
    return frozenset(found)
