"""What an instrument is: items, scales, thresholds. Plain values; scoring.parse makes them from definition.json."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from scoring.steps import Exact, Number, Step

Better = Literal["higher", "lower"]

KINDS = ("instrument", "form")
STATUSES = ("usable", "needs_permission", "unverified")
RECALLS = ("now", "day", "week", "four_weeks", "since_last", "not_known")
ITEM_TYPES = ("choice", "integer", "scale", "month", "text")
FINDERS = ("patient", "examiner")
# What the people of a threshold had had done; `mixed`: patients of a shoulder clinic, `other`: another operation or none.
TREATMENTS = ("arthroplasty", "mixed", "not_stated", "other")
# The implant types that a threshold can be limited to: words of the clinic's own records.
THRESHOLD_IMPLANTS = (
    "resurfacing_hemi",
    "resurfacing_with_glenoid",
    "stemmed_hemi",
    "stemless_hemi",
    "anatomic_total",
    "reverse",
)
THRESHOLD_KINDS = ("mcid", "scb", "detectable_change", "pass")
# Where a rule for blanks comes from, and what a score says that used it.
BASES = {
    "published": None,
    "form_copy": "rule read on a form copy only",
    "memory": "rule from memory, unverified",
    "none": "rule without a published source",
}


@dataclass(frozen=True)
class Condition:
    """An item is asked when `item` was answered with one of `codes`."""

    item: str
    codes: frozenset[int]


@dataclass(frozen=True)
class Item:
    """One item. `numbers` are the values it can take, in the order shown; empty for a month or a text.

    `warning`: answers after which the phone shows whom to call; of these `emergency` name the emergency number first.
    `found_by` an examiner: a clinic finding, never asked of a patient.
    """

    item: str
    type: str
    topic: str
    numbers: tuple[int, ...] | range = ()
    unit: str | None = None
    max_length: int = 0
    warning: frozenset[int] = frozenset()
    emergency: frozenset[int] = frozenset()
    asked_if: Condition | None = None
    not_applicable: bool = False
    identifying: bool = False
    found_by: str = "patient"


@dataclass(frozen=True)
class Rule:
    """A named function of scoring.rules over these items, or over these scales of the same definition.

    `each` are the steps that each input takes before it, in the order of the inputs; `then` the steps after it.
    `weights` belong to `weighted` alone.
    """

    name: str
    items: tuple[str, ...] = ()
    scales: tuple[str, ...] = ()
    weights: tuple[Exact, ...] = ()
    each: tuple[tuple[Step, ...], ...] = ()
    then: tuple[Step, ...] = ()

    @property
    def inputs(self) -> tuple[str, ...]:
        return self.items or self.scales


@dataclass(frozen=True)
class Missing:
    """What happens to blanks.

    `complete` gives no value, `fill` counts each as `value`, `prorate` takes what was answered for the whole when at
    least `needs` were, `applicable` does so with what applies to the person and lets nothing else be blank.
    """

    name: str
    source: str
    value: int | None = None
    needs: int = 0
    basis: str = "published"


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
    """A published value and whom it was found in; None where the source that was read does not say.

    `follow_up_days`: the shortest. `implants`: nobody had another. `confidence_percent`: of a detectable change.
    `range_end`: the source prints a range for these people, and this is one end of it. `limits`: the confidence limits as printed.
    `distribution_based`: worked out from the spread of scores, by no answer of the people.
    """

    kind: str
    scale: str
    value: Number
    plus_minus: Number | None
    population: str
    treatment: str
    holds_hemiarthroplasty: bool | None
    anchor: str
    follow_up: str
    follow_up_days: int | None
    n: int | None
    citation: str
    note: str | None
    implants: tuple[str, ...] = ()
    confidence_percent: int | None = None
    range_end: bool = False
    limits: tuple[Number, Number] | None = None
    distribution_based: bool = False


@dataclass(frozen=True)
class Norm:
    """What people without a complaint, or a whole population, were found to score."""

    scale: str
    mean: Number
    sd: Number | None
    population: str
    n: int | None
    citation: str
    note: str | None


@dataclass(frozen=True)
class Licence:
    terms: str
    source: str
    needs_permission: bool


@dataclass(frozen=True, eq=False)
class Definition:
    """One version of one instrument or form. `spec` is how everything else names it, such as `sst@1`.

    Two definitions are the same only when they are one object, so that what is worked out from one can be kept by it.
    """

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
    norms: tuple[Norm, ...] = ()
    change_scale: str | None = None

    @property
    def scale_of_change(self) -> Scale:
        """The scale that is compared over time: the main one, unless it cannot be had before surgery. IndexError on a form."""
        return self.scales[0] if self.change_scale is None else self.by_scale[self.change_scale]

    @property
    def spec(self) -> str:
        return f"{self.id}@{self.version}"

    @property
    def sendable(self) -> bool:
        """Whether a patient can be asked: the status allows it, and no item is for an examiner to find."""
        return self.status == "usable" and all(item.found_by == "patient" for item in self.items)

    @cached_property
    def by_item(self) -> Mapping[str, Item]:
        return {item.item: item for item in self.items}

    @cached_property
    def by_scale(self) -> Mapping[str, Scale]:
        return {scale.scale: scale for scale in self.scales}

    @cached_property
    def scales_in_order_of_use(self) -> tuple[Scale, ...]:
        """Each scale after those that it builds on. None builds on itself: parsing refuses that."""
        ordered: dict[str, Scale] = {}
        while len(ordered) < len(self.scales):
            ready = (
                each for each in self.scales if each.scale not in ordered and ordered.keys() >= {*each.rule.scales}
            )
            scale = next(ready)
            ordered[scale.scale] = scale
        return tuple(ordered.values())

    @cached_property
    def items_under(self) -> Mapping[str, tuple[str, ...]]:
        """By scale the items that it rests on, also through other scales, in their order."""
        items: dict[str, tuple[str, ...]] = {}
        for scale in self.scales_in_order_of_use:
            through = {item for name in scale.rule.scales for item in items[name]}
            items[scale.scale] = scale.rule.items or tuple(item for item in self.by_item if item in through)
        return items
