"""Reads the scales of a definition: their rules, steps and missing-item rules, and what they can reach."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import cast

from scoring.data_reader import Node
from scoring.definition import Better, Item, Rule, Scale
from scoring.parse_missing import parse_missing
from scoring.rules import RULES, limits_of
from scoring.steps import Exact, Limits, Number, Step, fraction_of, number_of, parse_step, words_of

_OF_SCALE = tuple(each.name for each in fields(Scale))
_OF_RULE = ("name", "items", "scales", "weights", "each", "then")
_OTHER: Mapping[Better, Better] = {"higher": "lower", "lower": "higher"}


@dataclass(frozen=True)
class _Input:
    """What an item or a scale hands to a rule; `whole`: whole numbers only; `items`: those that count in it.

    `better`: which of its ends is the better one; None for an item, and where several come together.
    """

    limits: Limits
    whole: bool
    items: tuple[str, ...]
    better: Better | None = None


def parse_scales(top: Node, items: Mapping[str, Item], *, may_be_empty: bool) -> tuple[Scale, ...]:
    """The scales in their order. A scale may build on others, but not on itself by any way round."""
    nodes = top.nodes("scales", may_be_empty=may_be_empty)
    names = [node.text("scale", pattern=r"[a-z][a-z0-9_]*", longest=40) for node in nodes]
    for name in names:
        if names.count(name) > 1:
            raise top.refuse("scales", f"{name!r} stands there twice")
    known: dict[str, _Input] = {}
    scales: dict[str, Scale] = {}
    waiting = dict(zip(names, nodes, strict=True))
    while waiting:
        # The first that builds on nothing that is still waiting; without one the first, which says what is wrong.
        name = next((each for each in waiting if not _builds_on(waiting[each], waiting)), next(iter(waiting)))
        scale, out = _scale(waiting.pop(name), items, known)
        scales[name] = scale
        if scale.missing.name != "fill":  # nothing builds on a bound
            known[name] = out
    _tell_apart(nodes, [scales[name] for name in names])
    return tuple(scales[name] for name in names)


def _tell_apart(nodes: Sequence[Node], scales: Sequence[Scale]) -> None:
    """Titles differ for a reader, and the first scale is a score."""
    titles: set[str] = set()
    for node, scale in zip(nodes, scales, strict=True):
        title = " ".join(scale.title.casefold().split())
        if title in titles:
            raise node.refuse("title", "is the title of another scale")
        titles.add(title)
    if scales and scales[0].missing.name == "fill":
        raise nodes[0].node("missing").refuse("name", "the first scale is the main one and cannot be a bound")


def _builds_on(node: Node, waiting: Mapping[str, Node]) -> bool:
    rule = node.data.get("rule")
    named = rule.get("scales") if isinstance(rule, dict) else None
    return isinstance(named, list) and any(isinstance(each, str) and each in waiting for each in named)


def _scale(node: Node, items: Mapping[str, Item], known: Mapping[str, _Input]) -> tuple[Scale, _Input]:
    node.only(*_OF_SCALE)
    rule_node = node.node("rule")
    rule, before = _rule(rule_node, _inputs(rule_node, items, known))
    missing = parse_missing(node.node("missing"), rule, items)
    whole = before.whole and not (missing.needs and RULES[rule.name].scales_up)
    then, out = _then(rule_node, replace(before, whole=whole))
    scale = Scale(
        scale=node.text("scale"),
        title=node.text("title", longest=80),
        range=_range(node, out.limits),
        better=_better(node, rule, out),
        decimals=node.whole("decimals", 0, 4),
        rule=Rule(rule.name, rule.items, rule.scales, rule.weights, rule.each, then),
        missing=missing,
        method=node.text("method", longest=200),
    )
    return scale, replace(out, better=scale.better)


def _inputs(node: Node, items: Mapping[str, Item], known: Mapping[str, _Input]) -> dict[str, _Input]:
    node.only(*_OF_RULE)
    if node.has("items") == node.has("scales"):
        raise node.refuse("items", "either items or scales must be there")
    if node.has("scales"):
        names = node.texts("scales")
        for name in names:
            if name not in known:
                raise node.refuse("scales", f"{name!r} is no scale to build on: unknown, a bound, or built on this one")
        found = {name: known[name] for name in names}
        _count_once(node, found)
        return found
    found = {}
    for name in node.texts("items"):
        if name not in items or not items[name].numbers or items[name].identifying:
            raise node.refuse("items", f"{name!r} is not an item with numbers that name nobody")
        low, high = min(items[name].numbers), max(items[name].numbers)
        found[name] = _Input((low, high), True, (name,))
    return found


def _count_once(node: Node, parts: Mapping[str, _Input]) -> None:
    through: dict[str, str] = {}
    for name, part in parts.items():
        for item in part.items:
            if item in through:
                raise node.refuse("scales", f"item {item!r} counts twice: in {through[item]!r} and in {name!r}")
            through[item] = name


def _rule(node: Node, inputs: dict[str, _Input]) -> tuple[Rule, _Input]:
    """The rule without its last steps, and what it hands on."""
    name = node.word("name", tuple(RULES))
    named, names = RULES[name], tuple(inputs)
    if named.one_input and len(names) != 1:
        raise node.refuse("items" if node.has("items") else "scales", f"{name} takes one item or one scale")
    weights = _weights(node, len(names)) if named.weighted else ()
    if node.has("weights") and not named.weighted:
        raise node.refuse("weights", f"{name} takes no weights")
    each, stepped = _each(node, inputs)
    limits = limits_of(named, [one.limits for one in stepped], weights)
    whole = named.whole and all(one.whole for one in stepped) and all(weight.denominator == 1 for weight in weights)
    rule = Rule(name, names if node.has("items") else (), names if node.has("scales") else (), weights, each)
    counted = tuple(item for one in stepped for item in one.items)
    return rule, _Input(limits, whole, counted, stepped[0].better if len(stepped) == 1 else None)


def _weights(node: Node, count: int) -> tuple[Exact, ...]:
    values = node.list("weights")
    if len(values) != count:
        raise node.refuse("weights", f"must be {count} numbers")
    for value in values:
        if isinstance(value, bool) or not isinstance(value, int | float) or value <= 0:
            raise node.refuse("weights", "must be positive numbers")
    return tuple(fraction_of(value) for value in values)


def _each(node: Node, inputs: dict[str, _Input]) -> tuple[tuple[tuple[Step, ...], ...], list[_Input]]:
    steps: dict[str, list[Step]] = {name: [] for name in inputs}
    now = dict(inputs)
    for step_node in node.nodes("each") if node.has("each") else ():
        names = step_node.texts("of") if step_node.has("of") else tuple(inputs)
        for name in names:
            if name not in inputs:
                raise step_node.refuse("of", f"{name!r} does not stand in the rule")
            step, now[name] = _step(step_node, now[name], "of")
            steps[name].append(step)
    return tuple(tuple(steps[name]) for name in inputs), list(now.values())


def _then(node: Node, out: _Input) -> tuple[tuple[Step, ...], _Input]:
    steps: list[Step] = []
    for step_node in node.nodes("then") if node.has("then") else ():
        step, out = _step(step_node, out)
        steps.append(step)
    return tuple(steps), out


def _step(node: Node, before: _Input, *known: str) -> tuple[Step, _Input]:
    step, limits = parse_step(node, known, before.limits)
    if node.text("name") == "table" and not before.whole:
        raise node.refuse("name", "a table takes whole numbers only")
    whole = step.whole if step.makes_whole else step.whole and before.whole
    return step, replace(before, limits=limits, whole=whole, better=_turned(before, step))


def _turned(before: _Input, step: Step) -> Better | None:
    """Which end is the better one after a step: the other, where the step falls."""
    low, high = (step.apply(end) for end in before.limits)
    return _OTHER[before.better] if before.better and low > high else before.better


def _better(node: Node, rule: Rule, out: _Input) -> Better:
    """A scale over one scale is better where that one is, or at the other end when the rule turns it round."""
    better = cast("Better", node.word("better", tuple(_OTHER)))
    if out.better not in (None, better):
        raise node.refuse("better", f"must be {out.better}, as this scale follows from {rule.scales[0]!r}")
    return better


def _range(node: Node, limits: Limits) -> tuple[Number, Number]:
    low, high = (number_of(each) for each in limits)
    if any(isinstance(each, bool) for each in node.list("range")):
        raise node.refuse("range", "must be 2 numbers")
    if low == high:
        raise node.refuse("range", f"the rule gives nothing but {words_of(limits[0])}")
    if node.list("range") != [low, high]:
        raise node.refuse("range", f"the rule reaches {words_of(limits[0])} to {words_of(limits[1])}")
    return low, high
