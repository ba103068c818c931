"""One page of a long list."""

from dataclasses import dataclass


@dataclass(frozen=True)
class At:
    """Where in a list a page stands. `before` and `after` are the offsets of its neighbours, None where there is none."""

    offset: int
    size: int
    total: int

    @property
    def first(self) -> int:
        return self.offset + 1

    @property
    def last(self) -> int:
        return min(self.offset + self.size, self.total)

    @property
    def before(self) -> int | None:
        return max(0, self.offset - self.size) if self.offset else None

    @property
    def after(self) -> int | None:
        return self.offset + self.size if self.offset + self.size < self.total else None


def offset_in(text: str) -> int:
    """The offset that an address asks for; 0 for anything that is none."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else 0
