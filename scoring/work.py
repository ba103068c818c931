"""Works one scale out: which answers count, the rule over them, its steps. Words are left to scoring.score."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, cast

from scoring.answers import NO_ANSWER, Answer
from scoring.definition import BASES, Definition, Missing, Scale
from scoring.rules import RULES, NamedRule
from scoring.steps import Exact

Values = Sequence[int | None]


class Working(NamedTuple):
    """`value` is None without a score. `inputs` are the positions in the rule and the values it worked on."""

    value: Exact | None
    prorated: bool = False
    flags: tuple[str, ...] = ()
    inputs: tuple[tuple[int, Exact], ...] = ()


NOTHING = Working(None)


@dataclass(frozen=True, slots=True)
class Unit:
    """A scale with what is worked out once: the items it rests on, also through other scales, and its named rule.

    `group` numbers the distinct lists of items of a definition. `plain`: a sum of the answers, without a step.
    """

    scale: Scale
    names: tuple[str, ...]
    group: int
    rule: NamedRule
    plain: bool


def units_of(definition: Definition) -> tuple[Unit, ...]:
    """The scales in an order in which each stands after those that it builds on."""
    names: dict[str, tuple[str, ...]] = {}
    groups: list[tuple[str, ...]] = []
    units: list[Unit] = []
    for scale in _in_working_order(definition):
        rule = scale.rule
        under = {item for name in rule.scales for item in names[name]}
        names[scale.scale] = rule.items or tuple(item for item in definition.by_item if item in under)
        if names[scale.scale] not in groups:
            groups.append(names[scale.scale])
        plain = rule.name in ("sum", "value") and bool(rule.items) and not any(rule.each) and not rule.then
        group = groups.index(names[scale.scale])
        units.append(Unit(scale, names[scale.scale], group, RULES[rule.name], plain))
    return tuple(units)


def _in_working_order(definition: Definition) -> list[Scale]:
    waiting, order, done = list(definition.scales), list[Scale](), set[str]()
    while waiting:
        scale = next(each for each in waiting if done.issuperset(each.rule.scales))
        waiting.remove(scale)
        order.append(scale)
        done.add(scale.scale)
    return order


def values_of(names: Sequence[str], answers: Mapping[str, Answer]) -> list[int | None]:
    """The number of each item in its order; None where it was not answered, whatever came with it."""
    try:
        found = [answers[name] for name in names]
    except KeyError:
        found = [answers.get(name, NO_ANSWER) for name in names]
    return cast("list[int | None]", [each.value if each.state == "answered" else None for each in found])


def work(unit: Unit, values: Values, answers: Mapping[str, Answer], worked: Mapping[str, Working]) -> Working:
    """`worked` holds the scales that this one builds on."""
    return _over_scales(unit, worked) if unit.scale.rule.scales else _over_items(unit, values, answers)


def work_sum(unit: Unit, total: int, answered: int) -> Working | None:
    """The same for a plain unit, without its inputs, from the sum of what was answered; None where more than counts decides."""
    missing, blanks = unit.scale.missing, len(unit.names) - answered
    if not blanks:
        return Working((total, 1))
    if missing.name == "applicable":
        return None
    if missing.name == "fill" and missing.value is not None and answered:
        return Working((total + blanks * missing.value, 1))
    if not missing.needs or answered < missing.needs:
        return NOTHING
    basis = BASES[missing.basis]
    return Working(spread(unit, (total, 1), answered), True, (basis,) if basis else ())


def _over_items(unit: Unit, values: Values, answers: Mapping[str, Answer]) -> Working:
    missing = unit.scale.missing
    used = usable(missing, unit.names, values, answers)
    if used is None:
        return NOTHING
    prorated = len(used) < len(values)
    basis = BASES[missing.basis] if prorated else None
    inputs = tuple((place, (value, 1)) for place, value in used)
    return Working(_combined(unit, inputs), prorated, (basis,) if basis else (), inputs)


def _over_scales(unit: Unit, worked: Mapping[str, Working]) -> Working:
    parts = [worked[name] for name in unit.scale.rule.scales]
    inputs = tuple((place, part.value) for place, part in enumerate(parts) if part.value is not None)
    if len(inputs) < len(parts):
        return NOTHING
    flags = tuple(dict.fromkeys(flag for part in parts for flag in part.flags))
    return Working(_combined(unit, inputs), any(part.prorated for part in parts), flags, inputs)


def usable(
    missing: Missing, names: Sequence[str], values: Values, answers: Mapping[str, Answer]
) -> list[tuple[int, int]] | None:
    """Positions and numbers that the rule works on by the missing-item rule; None when there is no score."""
    given = [(place, value) for place, value in enumerate(values) if value is not None]
    if len(given) == len(values):
        return given
    if missing.name == "fill" and missing.value is not None and given:
        return [(place, missing.value if value is None else value) for place, value in enumerate(values)]
    if missing.name == "applicable":
        blank = [name for name, value in zip(names, values, strict=True) if value is None]
        if any(name not in answers or answers[name].state != "not_applicable" for name in blank):
            return None
    return given if missing.needs and len(given) >= missing.needs else None


def stepped(unit: Unit, inputs: Sequence[tuple[int, Exact]]) -> list[Exact]:
    """The inputs after the steps that each of them takes."""
    values: list[Exact] = []
    for place, value in inputs:
        for step in unit.scale.rule.each[place]:
            value = step.apply(value)
        values.append(value)
    return values


def spread(unit: Unit, value: Exact, answered: int) -> Exact:
    """A sum over some of its inputs, as large as over all of them."""
    count = len(unit.scale.rule.inputs)
    if answered == count or not unit.rule.scales_up:
        return value
    return value[0] * count, value[1] * answered


def _combined(unit: Unit, inputs: Sequence[tuple[int, Exact]]) -> Exact:
    rule = unit.scale.rule
    value = spread(unit, unit.rule.compute(stepped(unit, inputs), rule.weights), len(inputs))
    for step in rule.then:
        value = step.apply(value)
    return value
