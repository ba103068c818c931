"""Reads a definition.json that has been loaded. Format: instruments/README.md."""

from dataclasses import fields

from scoring.check_thresholds import check_norms, check_range_ends, check_threshold
from scoring.data_reader import Node
from scoring.definition import (
    FINDERS,
    ITEM_TYPES,
    KINDS,
    RECALLS,
    STATUSES,
    THRESHOLD_IMPLANTS,
    THRESHOLD_KINDS,
    TREATMENTS,
    Condition,
    Definition,
    Item,
    Licence,
    Norm,
    Scale,
    Threshold,
)
from scoring.parse_scales import parse_scales
from scoring.steps import Number
from scoring.strict_json import shown

ID = r"[a-z][a-z0-9-]{0,29}"
VERSION = r"[1-9][0-9]{0,5}"
ITEM = r"[1-9][0-9]{0,2}[a-z]?"
_OF_DEFINITION = tuple(each.name for each in fields(Definition))
_OF_THRESHOLD = tuple(each.name for each in fields(Threshold))
_OF_ANY_ITEM = ("item", "type", "topic", "asked_if", "not_applicable", "identifying", "found_by")
_OF_TYPE = {
    "choice": ("codes", "warning", "emergency"),
    "integer": ("min", "max", "step", "unit"),
    "scale": ("min", "max"),
    "month": (),
    "text": ("max_length",),
}
_OF_NORM = tuple(each.name for each in fields(Norm))
UNITS = ("percent", "weeks", "millimetres", "degrees", "grams")
_LARGEST = 100_000


def parse_definition(data: object, place: str) -> Definition:
    """The definition in `data`; DataProblem names the first place that is not understood. `place` names the file."""
    top = Node.of(data, place)
    top.only(*_OF_DEFINITION)
    kind = top.word("kind", KINDS)
    items = _items(top)
    scales = parse_scales(top, items, may_be_empty=kind == "form")
    if kind == "form" and (scales or top.value("thresholds")):
        raise top.refuse("kind", "a form has no scales and no thresholds")
    return Definition(
        id=top.text("id", pattern=ID),
        version=top.text("version", pattern=VERSION),
        title=top.text("title", longest=120),
        kind=kind,
        status=_status(top),
        recall=top.word("recall", RECALLS),
        side=top.flag("side"),
        items=tuple(items.values()),
        scales=scales,
        thresholds=_thresholds(top, scales),
        licence=_licence(top.node("licence")),
        sources=top.texts("sources"),
        norms=_norms(top, scales) if top.has("norms") else (),
        change_scale=top.word("change_scale", list(_scores(scales))) if top.has("change_scale") else None,
    )


def _status(top: Node) -> str:
    status = top.word("status", STATUSES)
    if status == "usable" and top.node("licence").flag("needs_permission"):
        raise top.refuse("status", "cannot be usable while the licence needs permission")
    if status == "needs_permission" and not top.node("licence").flag("needs_permission"):
        raise top.refuse("status", "cannot need permission while the licence does not")
    if status == "usable" and top.word("recall", RECALLS) == "not_known":
        raise top.refuse("status", "cannot be usable while the period it asks about is not known")
    return status


def _items(top: Node) -> dict[str, Item]:
    items: dict[str, Item] = {}
    for node in top.nodes("items"):
        item = _item(node, items)
        if item.item in items:
            raise node.refuse("item", f"{item.item!r} stands there twice")
        items[item.item] = item
    return items


def _item(node: Node, earlier: dict[str, Item]) -> Item:
    kind = node.word("type", ITEM_TYPES)
    node.only(*_OF_ANY_ITEM, *_OF_TYPE[kind])
    numbers = _numbers(node, kind)
    identifying = node.has("identifying") and node.flag("identifying")
    if kind == "text" and not identifying:
        raise node.refuse("identifying", "must be true: a text can name a person")
    return Item(
        item=node.text("item", pattern=ITEM),
        type=kind,
        topic=node.text("topic", longest=120),
        numbers=numbers,
        unit=node.word("unit", UNITS) if node.has("unit") else None,
        max_length=node.whole("max_length", 1, 2000) if kind == "text" else 0,
        warning=_subset(node, "warning", numbers) if node.has("warning") else frozenset(),
        emergency=_subset(node, "emergency", node.codes("warning")) if node.has("emergency") else frozenset(),
        asked_if=_condition(node.node("asked_if"), earlier) if node.has("asked_if") else None,
        not_applicable=node.has("not_applicable") and node.flag("not_applicable"),
        identifying=identifying,
        found_by=node.word("found_by", FINDERS) if node.has("found_by") else "patient",
    )


def _numbers(node: Node, kind: str) -> tuple[int, ...] | range:
    if kind == "choice":
        return node.codes("codes")
    if kind not in ("integer", "scale"):
        return ()
    low = node.whole("min", -_LARGEST, _LARGEST)
    high = node.whole("max", low + 1, _LARGEST)
    step = node.whole("step", 1, high - low) if node.has("step") else 1
    if (high - low) % step:
        raise node.refuse("step", f"does not lead from {low} to {high}")
    return range(low, high + 1, step)


def _subset(node: Node, key: str, numbers: tuple[int, ...] | range) -> frozenset[int]:
    codes = node.codes(key)
    for code in codes:
        if code not in numbers:
            raise node.refuse(key, f"{code} is not {'a warning' if key == 'emergency' else 'a code'} of the item")
    return frozenset(codes)


def _condition(node: Node, earlier: dict[str, Item]) -> Condition:
    node.only("item", "codes")
    name = node.text("item", pattern=ITEM)
    if name not in earlier or earlier[name].type != "choice":
        raise node.refuse("item", f"{name!r} is not an earlier choice item")
    return Condition(name, _subset(node, "codes", earlier[name].numbers))


def _thresholds(top: Node, scales: tuple[Scale, ...]) -> tuple[Threshold, ...]:
    found: dict[tuple[object, ...], Threshold] = {}
    nodes = top.nodes("thresholds", may_be_empty=True)
    for node in nodes:
        one = _threshold(node, scales)
        check_threshold(node, one, _of_a_score(node, scales))
        key = (one.kind, one.scale, one.value, one.population, one.follow_up, one.citation)
        if key in found:
            raise node.refuse("value", "is there already, with the same people and citation")
        found[key] = one
    thresholds = tuple(found.values())
    check_range_ends(nodes, thresholds)
    return thresholds


def _threshold(node: Node, scales: tuple[Scale, ...]) -> Threshold:
    node.only(*_OF_THRESHOLD)
    kind = node.word("kind", THRESHOLD_KINDS)
    scale = _of_a_score(node, scales)
    if kind != "detectable_change" and node.has("confidence_percent"):
        raise node.refuse("confidence_percent", "belongs to a detectable_change only")
    return Threshold(
        kind=kind,
        scale=scale.scale,
        value=_level(node, "value", scale) if kind == "pass" else _difference(node, scale),
        plus_minus=_above_0(node, "plus_minus") if node.has("plus_minus") else None,
        population=node.text("population"),
        treatment=node.word("treatment", TREATMENTS),
        holds_hemiarthroplasty=_unless_null(node, "holds_hemiarthroplasty") and node.flag("holds_hemiarthroplasty"),
        anchor=node.text("anchor"),
        follow_up=node.text("follow_up"),
        follow_up_days=node.whole("follow_up_days", 1, 36_525) if _unless_null(node, "follow_up_days") else None,
        n=node.whole("n", 1, 10_000_000) if _unless_null(node, "n") else None,
        citation=node.text("citation"),
        note=node.text("note") if node.has("note") else None,
        implants=_implants(node) if node.has("implants") else (),
        confidence_percent=node.whole("confidence_percent", 1, 99) if node.has("confidence_percent") else None,
        range_end=node.has("range_end") and node.flag("range_end"),
        limits=_limits(node) if node.has("limits") else None,
        distribution_based=node.has("distribution_based") and node.flag("distribution_based"),
    )


def _limits(node: Node) -> tuple[Number, Number]:
    """They may lie beyond what is possible: a change of -6 is the lower limit of one study."""
    low, high = node.pair("limits")
    if not low < node.number("value") < high:
        raise node.refuse("limits", "must be a lower and an upper one with the value between them")
    return low, high


def _of_a_score(node: Node, scales: tuple[Scale, ...]) -> Scale:
    found = _scores(scales)
    return found[node.word("scale", list(found))]


def _scores(scales: tuple[Scale, ...]) -> dict[str, Scale]:
    """The scales that are a score, not a bound of one."""
    return {scale.scale: scale for scale in scales if scale.missing.name != "fill"}


def _implants(node: Node) -> tuple[str, ...]:
    found = node.texts("implants")
    for each in found:
        if each not in THRESHOLD_IMPLANTS:
            raise node.refuse("implants", f"{shown(each)} is none of {', '.join(THRESHOLD_IMPLANTS)}")
    return found


def _difference(node: Node, scale: Scale) -> Number:
    value, low, high = node.number("value"), *scale.range
    if not 0 < value <= high - low:
        raise node.refuse("value", f"is no change on a scale from {low} to {high}")
    return value


def _level(node: Node, key: str, scale: Scale) -> Number:
    value, low, high = node.number(key), *scale.range
    if not low <= value <= high:
        raise node.refuse(key, f"is no score on a scale from {low} to {high}")
    return value


def _above_0(node: Node, key: str) -> Number:
    value = node.number(key)
    if not value > 0:
        raise node.refuse(key, "must be above 0")
    return value


def _norms(top: Node, scales: tuple[Scale, ...]) -> tuple[Norm, ...]:
    nodes = top.nodes("norms")
    norms = tuple(_norm(node, scales) for node in nodes)
    check_norms(nodes, norms)
    return norms


def _norm(node: Node, scales: tuple[Scale, ...]) -> Norm:
    node.only(*_OF_NORM)
    scale = _of_a_score(node, scales)
    return Norm(
        scale=scale.scale,
        mean=_level(node, "mean", scale),
        sd=_above_0(node, "sd") if _unless_null(node, "sd") else None,
        population=node.text("population"),
        n=node.whole("n", 1, 10_000_000) if _unless_null(node, "n") else None,
        citation=node.text("citation"),
        note=node.text("note") if node.has("note") else None,
    )


def _unless_null(node: Node, key: str) -> bool | None:
    return None if node.value(key) is None else True


def _licence(node: Node) -> Licence:
    node.only("terms", "source", "needs_permission")
    return Licence(node.text("terms"), node.text("source"), node.flag("needs_permission"))
