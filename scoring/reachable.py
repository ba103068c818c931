"""Which values a complete answer sheet can reach, and the first of them that meets a threshold."""

from collections.abc import Sequence
from fractions import Fraction
from math import lcm

from scoring.definition import Definition, Scale, Threshold
from scoring.printed_decimals import is_exceeded, is_reached
from scoring.rules import RULES
from scoring.steps import Exact, Number, number_of

# Beyond this an input counts as a measurement, and its scale as continuous.
_MOST_VALUES = 2000


def reachable_values(definition: Definition, scale_name: str) -> tuple[Exact, ...] | None:
    """Rising; None for a scale that is as good as continuous. Its parts share no item: a definition where they do is refused."""
    scale = definition.by_scale[scale_name]
    inputs = _inputs(definition, scale)
    if inputs is None or any(len(values) > _MOST_VALUES for values in inputs):
        return None
    found = _together(scale, inputs)
    for step in scale.rule.then:
        found = {step.apply(value) for value in found}
    return tuple(sorted(found))


def first_reachable(definition: Definition, threshold: Threshold) -> Number:
    """The first value (of a level) or the first change (of a difference) that meets the threshold: 8.4 -> 9 on the SST.

    The threshold's own value where the scale is continuous, or where nothing reaches it.
    """
    values = reachable_values(definition, threshold.scale)
    if values is None:
        return threshold.value
    if threshold.kind != "pass":
        found = _first_change(values, threshold)
    elif definition.by_scale[threshold.scale].better == "higher":
        found = next((value for value in values if is_reached(threshold, value)), None)
    else:
        found = next((value for value in reversed(values) if not is_exceeded(threshold, value)), None)
    return threshold.value if found is None else number_of(found)


def _first_change(values: Sequence[Exact], threshold: Threshold) -> Exact | None:
    """Measurement error must be exceeded, what matters reached."""
    meets = is_exceeded if threshold.kind == "detectable_change" else is_reached
    changes: list[Exact] = []
    place = 0
    for value in values:  # both rise, so the place only moves on
        while place < len(values) and not meets(threshold, values[place] - value):
            place += 1
        if place == len(values):
            break
        changes.append(values[place] - value)
    return min(changes, default=None)


def _inputs(definition: Definition, scale: Scale) -> list[set[Exact]] | None:
    """The values of each input after its own steps."""
    rule = scale.rule
    if rule.scales:
        parts = [reachable_values(definition, name) for name in rule.scales]
        known = [set(part) for part in parts if part is not None]
        if len(known) < len(parts):
            return None
        found: list[set[Exact]] = known
    else:
        numbers = [definition.by_item[name].numbers for name in rule.items]
        if any(len(each) > _MOST_VALUES for each in numbers):
            return None
        found = [set(each) for each in numbers]
    for place, steps in enumerate(rule.each):
        for step in steps:
            found[place] = {step.apply(value) for value in found[place]}
    return found


def _together(scale: Scale, inputs: list[set[Exact]]) -> set[Exact]:
    rule = scale.rule
    if rule.name == "highest":
        least = max(min(values) for values in inputs)
        return {value for values in inputs for value in values if value >= least}
    if rule.name == "weighted":
        inputs = [{value * weight for value in values} for values, weight in zip(inputs, rule.weights, strict=True)]
    sums = _sums(inputs)
    return {Fraction(value, len(inputs)) for value in sums} if not RULES[rule.name].whole else sums


def _sums(inputs: list[set[Exact]]) -> set[Exact]:
    """Every sum of one value of each: sets of whole numbers as the bits of one number, moved and laid together."""
    common = lcm(*(value.denominator for values in inputs for value in values))
    bits, start = 1, 0
    for values in inputs:
        low = int(min(values) * common)
        start += low
        moved = 0
        for value in values:
            moved |= bits << (int(value * common) - low)
        bits = moved
    return {Fraction(start + place, common) for place in range(bits.bit_length()) if bits >> place & 1}
