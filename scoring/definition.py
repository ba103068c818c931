"""What an instrument is: items, scales, thresholds. Plain values; scoring.parse makes them from definition.json."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

Number = int | float
Better = Literal["higher", "lower"]

KINDS = ("instrument", "form")
STATUSES = ("usable", "needs_permission", "unverified")
RECALLS = ("now", "day", "week", "four_weeks", "since_last")
ITEM_TYPES = ("choice", "integer", "scale", "month", "text")
THRESHOLD_KINDS = ("mcid", "scb", "detectable_change", "pass")


@dataclass(frozen=True)
class Condition:
    """An item is asked when `item` was answered with one of `codes`."""

    item: str
    codes: frozenset[int]


@dataclass(frozen=True)
class Item:
    """One item. `numbers` are the values it can take, in the order shown; empty for a month or a text."""

    item: str
    type: str
    topic: str
    numbers: tuple[int, ...] | range = ()
    unit: str | None = None
    max_length: int = 0
    warning: frozenset[int] = frozenset()
    asked_if: Condition | None = None
    not_applicable: bool = False
    identifying: bool = False


@dataclass(frozen=True)
class Rule:
    """A named function of scoring.rules over these items."""

    name: str
    items: tuple[str, ...]


@dataclass(frozen=True)
class Missing:
    """What happens to blanks: `complete` gives no value, `fill` counts each as `value`."""

    name: str
    source: str
    value: int | None = None


@dataclass(frozen=True)
class Scale:
    scale: str
    title: str
    range: tuple[Number, Number]
    better: Better
    decimals: int
    rule: Rule
    missing: Missing
    method: str


@dataclass(frozen=True)
class Threshold:
    """A published value and whom it was found in; None where the source that was read does not say."""

    kind: str
    scale: str
    value: Number
    plus_minus: Number | None
    population: str
    holds_hemiarthroplasty: bool | None
    anchor: str
    follow_up: str
    n: int | None
    citation: str
    note: str | None


@dataclass(frozen=True)
class Licence:
    terms: str
    source: str
    needs_permission: bool


@dataclass(frozen=True)
class Definition:
    """One version of one instrument or form. `spec` is how everything else names it, such as `sst@1`."""

    id: str
    version: str
    title: str
    kind: str
    status: str
    recall: str
    side: bool
    items: tuple[Item, ...]
    scales: tuple[Scale, ...]
    thresholds: tuple[Threshold, ...]
    licence: Licence
    sources: tuple[str, ...]

    @property
    def spec(self) -> str:
        return f"{self.id}@{self.version}"

    @property
    def sendable(self) -> bool:
        return self.status == "usable"

    @cached_property
    def by_item(self) -> Mapping[str, Item]:
        return {item.item: item for item in self.items}
