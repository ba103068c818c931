"""What the form of a timepoint asks: its instruments in order, each with its items."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from scoring.library import Library
from scoring.plan_parts import part_items
from server.schedule.plan import Part


@dataclass(frozen=True)
class AskedPart:
    """`instrument` with its version, such as `sst@1`; `items` in the order of the definition."""

    instrument: str
    items: tuple[str, ...]

    def document(self) -> dict[str, Any]:
        """As the due sheet lists it (server/sync/PROTOCOL.md, section 3)."""
        return {"instrument": self.instrument, "items": list(self.items)}


def asked_parts(library: Library, parts: Sequence[Part]) -> tuple[AskedPart, ...]:
    """The parts of a plan's timepoint with their items spelled out."""
    return tuple(
        AskedPart(part.instrument, part_items(library.instrument(part.instrument), part.items)) for part in parts
    )
