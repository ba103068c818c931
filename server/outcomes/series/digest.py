"""What was read for a series as one SHA-256: the same for the same data, whichever database holds them."""

import hashlib
import marshal
from collections.abc import Iterable, Sequence
from typing import Any

PLAIN = 2  # the version of the format that writes each value out by itself, whoever else refers to it


class Digest:
    """Of texts, numbers, yes and no, in a stated order. Anything else, such as a day, is written out by whoever hands it in.

    The interpreter's own format, since a million values are written in it in a moment, and as decimals and words in half a second.
    """

    def __init__(self) -> None:
        self._hash = hashlib.sha256()

    def take(self, name: str, values: Sequence[Any]) -> None:
        named: Any = (name, values)
        self._hash.update(marshal.dumps(named, PLAIN))

    def take_written(self, name: str, values: Iterable[object]) -> None:
        """Of a few values of any kind, as they are shown."""
        self.take(name, list(map(repr, values)))

    def hexdigest(self) -> str:
        return self._hash.hexdigest()
