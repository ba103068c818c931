"""Reads the rule for blanks of a scale over items: a bound is a bound, and what stands for the rest is like it."""

from collections.abc import Iterable, Mapping, Sequence

from scoring.data_reader import Node
from scoring.definition import BASES, Item, Missing, Rule
from scoring.rules import MISSING_RULES, RULES
from scoring.steps import Exact, Step

_LARGEST = 100_000
_MEMBERS = {"complete": (), "fill": ("value",), "prorate": ("needs", "basis"), "applicable": ("needs", "basis")}


def parse_missing(node: Node, rule: Rule, items: Mapping[str, Item]) -> Missing:
    """The `missing` of a scale with this rule; DataProblem names what is not understood."""
    name = node.word("name", MISSING_RULES)
    node.only("name", "source", *_MEMBERS[name])
    if name != "complete" and rule.scales:
        raise node.refuse("name", "a scale over scales is complete or has no value")
    value, needs, basis = None, 0, "published"
    if name == "fill":
        value = _bound(node, rule, items)
    elif name != "complete":
        _may_spread(node, rule, items)
        needs = _needs(node, len(rule.items))
        basis = node.word("basis", tuple(BASES))
    if name == "applicable" and not any(items[each].not_applicable for each in rule.items):
        raise node.refuse("name", "no item of the rule offers not_applicable")
    return Missing(name, node.text("source"), value, needs, basis)


def _bound(node: Node, rule: Rule, items: Mapping[str, Item]) -> int:
    """A value that makes the score its lowest or its highest: an end of every item, after its steps the same end."""
    value = node.whole("value", -_LARGEST, _LARGEST)
    if any(value not in items[each].numbers for each in rule.items):
        raise node.refuse("value", f"{value} is not a value of every item")
    ends = [_ends_at(value, items[name].numbers, steps) for name, steps in zip(rule.items, rule.each, strict=True)]
    if not all(lowest for lowest, _ in ends) and not all(highest for _, highest in ends):
        raise node.refuse(
            "value", f"{value} is no bound: neither the lowest of every item nor the highest of every item"
        )
    return value


def _ends_at(value: int, numbers: Sequence[int], steps: Iterable[Step]) -> tuple[bool, bool]:
    """Whether it counts as the lowest of what the item counts as, and whether as the highest."""
    low, high = sorted(_after(end, steps) for end in (min(numbers), max(numbers)))
    counts_as = _after(value, steps)
    return counts_as == low, counts_as == high


def _may_spread(node: Node, rule: Rule, items: Mapping[str, Item]) -> None:
    if not RULES[rule.name].spreads:
        raise node.refuse("name", f"{rule.name} has no meaning for some of its items")
    if len(rule.items) < 2 or not _alike(rule, items):
        raise node.refuse("name", "needs several items that reach the same numbers")


def _alike(rule: Rule, items: Mapping[str, Item]) -> bool:
    """Whether all items can count as the same numbers; those written alike are looked at once."""
    kinds: list[tuple[Sequence[int], Sequence[Step]]] = []
    for name, steps in zip(rule.items, rule.each, strict=True):
        if (items[name].numbers, steps) not in kinds:
            kinds.append((items[name].numbers, steps))
    return len({frozenset(_after(number, steps) for number in numbers) for numbers, steps in kinds}) == 1


def _needs(node: Node, items: int) -> int:
    needs = node.whole("needs", 1, items - 1)
    if needs * 2 < items:
        raise node.refuse("needs", f"must be at least half of the {items} items")
    return needs


def _after(number: int, steps: Iterable[Step]) -> Exact:
    exact: Exact = number
    for step in steps:
        exact = step.apply(exact)
    return exact
