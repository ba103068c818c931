"""What was read for a series as one SHA-256: the same for the same data, whichever database holds them."""

import hashlib
from array import array
from collections.abc import Iterable
from math import nan
from sys import byteorder

BETWEEN = "\x1f"  # between two values; no code, day or number holds it


class Digest:
    """Column by column, since that is how a million values are joined in a moment. Values of a column in a stated order."""

    def __init__(self) -> None:
        self._hash = hashlib.sha256()

    def take(self, name: str, values: Iterable[object]) -> None:
        """Codes, days, whole numbers: as they are written; an empty value as None."""
        self._hash.update(f"{name}{BETWEEN}{BETWEEN.join(map(str, values))}\n".encode())

    def take_numbers(self, name: str, values: Iterable[float | None]) -> None:
        """By the eight bytes of each, the lowest first: writing them out as decimals takes ten times as long."""
        found = array("d", (nan if value is None else value for value in values))
        if byteorder == "big":
            found.byteswap()
        self._hash.update(f"{name}{BETWEEN}".encode() + found.tobytes())

    def hexdigest(self) -> str:
        return self._hash.hexdigest()
