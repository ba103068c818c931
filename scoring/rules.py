"""The named functions that definitions combine. Each has its arithmetic, how it reads, and what it can reach."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from scoring.definition import Number

Limits = tuple[Number, Number]


@dataclass(frozen=True)
class NamedRule:
    """`compute` takes the values in the order of the rule's items; `reach` the limits of each item."""

    compute: Callable[[Sequence[Number]], Number]
    explain: Callable[[Sequence[Number]], str]
    reach: Callable[[Sequence[Limits]], Limits]
    one_item: bool = False


def _only(values: Sequence[Number]) -> Number:
    return values[0]


def _explain_sum(values: Sequence[Number]) -> str:
    return f"{' + '.join(str(value) for value in values)} = {sum(values)}"


def _reach_sum(limits: Sequence[Limits]) -> Limits:
    return sum(low for low, _ in limits), sum(high for _, high in limits)


def _explain_value(values: Sequence[Number]) -> str:
    return f"the answer itself: {values[0]}"


RULES: Mapping[str, NamedRule] = {
    "sum": NamedRule(compute=sum, explain=_explain_sum, reach=_reach_sum),
    "value": NamedRule(compute=_only, explain=_explain_value, reach=lambda limits: limits[0], one_item=True),
}

MISSING_RULES = ("complete", "fill")
