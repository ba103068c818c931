"""Checks that a follow-up plan asks only what exists and can be sent. Its days are server.schedule's business."""

from collections.abc import Mapping

from scoring.data_reader import Node
from scoring.definition import Definition

Definitions = Mapping[str, Definition]
WHY_NOT = {
    "usable": "an examiner finds some of its items",
    "needs_permission": "it needs its owner's permission, and no licensed text is installed in every language of the clinic",
}


def check_plan_parts(data: object, definitions: Definitions, place: str) -> None:
    """DataProblem names the first part or telephone item of the plan that cannot be asked."""
    top = Node.of(data, place)
    for timepoint in top.nodes("timepoints"):
        specs = [_check_part(part, definitions) for part in timepoint.nodes("parts")]
        if len(set(specs)) != len(specs):
            raise timepoint.refuse("parts", "holds an instrument twice")
    for name in top.texts("phone_call"):
        spec, _, item = name.partition("/")
        if item not in _sendable(top, "phone_call", spec, definitions).by_item:
            raise top.refuse("phone_call", f"{name!r} is no item")


def part_items(definition: Definition, items: tuple[str, ...] | list[str] | None) -> tuple[str, ...]:
    """The items a plan's part asks, in the order of the definition; None is all of them."""
    return tuple(item.item for item in definition.items if items is None or item.item in items)


def _check_part(part: Node, definitions: Definitions) -> str:
    part.only("instrument", "items")
    definition = _sendable(part, "instrument", part.text("instrument"), definitions)
    if part.has("items"):
        _check_items(part, definition)
    return definition.spec


def _sendable(node: Node, key: str, spec: str, definitions: Definitions) -> Definition:
    if spec not in definitions:
        raise node.refuse(key, f"{spec!r} is no instrument")
    if not definitions[spec].sendable:
        status = definitions[spec].status
        raise node.refuse(key, f"{spec} cannot be sent: {WHY_NOT.get(status, f'it is {status}')}")
    return definitions[spec]


def _check_items(part: Node, definition: Definition) -> None:
    if definition.kind != "form":
        raise part.refuse("items", f"{definition.spec} is asked whole")
    names = part.texts("items")
    for name in names:
        if name not in definition.by_item:
            raise part.refuse("items", f"{name!r} is not an item of {definition.spec}")
        condition = definition.by_item[name].asked_if
        if condition is not None and condition.item not in names:
            raise part.refuse("items", f"{name!r} hangs on {condition.item!r}, which is not there")
    if list(names) != list(part_items(definition, names)):
        raise part.refuse("items", "must stand in the order of the definition")
