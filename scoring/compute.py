"""Computes the value of each scale: which answers count, the rule over them, its steps. The words are made in scoring.score.

Whole numbers are added up first and divided once: a score is rounded only where it becomes a float, at the very end.
"""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from scoring.answers import NO_ANSWER, Answer
from scoring.definition import BASES, Definition, Scale
from scoring.rules import RULES
from scoring.steps import Exact

Inputs = Sequence[Exact | None]


class Computation(NamedTuple):
    """`value` is None without a score. `inputs`: what the rule was applied to, in its order, None where a blank was left out.

    `answered`: of the items that the scale rests on, also through other scales.
    """

    value: Exact | None
    answered: int
    inputs: Inputs = ()
    prorated: bool = False
    flags: tuple[str, ...] = ()


def compute_scales(definition: Definition, answers: Mapping[str, Answer]) -> dict[str, Computation]:
    """Every scale by its name, of answers that have been checked."""
    numbers = {
        name: answer.value
        for name, answer in answers.items()
        if answer.state == "answered" and isinstance(answer.value, int)
    }
    computed: dict[str, Computation] = {}
    for scale in definition.scales_in_order_of_use:
        if scale.rule.scales:
            computed[scale.scale] = _over_scales(scale, computed)
        else:
            computed[scale.scale] = _over_items(scale, [numbers.get(name) for name in scale.rule.items], answers)
    return computed


def _over_items(scale: Scale, numbers: Sequence[int | None], answers: Mapping[str, Answer]) -> Computation:
    answered = len(numbers) - numbers.count(None)
    if answered == len(numbers):
        return Computation(_apply_rule(scale, numbers), answered, numbers)
    missing = scale.missing
    if missing.value is not None and answered:  # `fill`
        filled = [missing.value if number is None else number for number in numbers]
        return Computation(_apply_rule(scale, filled), answered, filled)
    if not missing.needs or answered < missing.needs:
        return Computation(None, answered)
    if missing.name == "applicable" and _lacks_an_answer(scale, answers):
        return Computation(None, answered)
    basis = BASES[missing.basis]
    return Computation(_apply_rule(scale, numbers), answered, numbers, True, (basis,) if basis else ())


def _lacks_an_answer(scale: Scale, answers: Mapping[str, Answer]) -> bool:
    """Whether an item that applies to the person is blank."""
    states = {answers.get(name, NO_ANSWER).state for name in scale.rule.items}
    return not states <= {"answered", "not_applicable"}


def _over_scales(scale: Scale, computed: Mapping[str, Computation]) -> Computation:
    parts = [computed[name] for name in scale.rule.scales]
    answered = sum(part.answered for part in parts)  # no item counts in two of them: parsing refuses that
    inputs = [part.value for part in parts]
    if None in inputs:
        return Computation(None, answered)
    flags = tuple(dict.fromkeys(flag for part in parts for flag in part.flags))
    prorated = any(part.prorated for part in parts)
    return Computation(_apply_rule(scale, inputs), answered, inputs, prorated, flags)


def _apply_rule(scale: Scale, inputs: Inputs) -> Exact:
    values = after_own_steps(scale, inputs)
    value = RULES[scale.rule.name].compute(values, scale.rule.weights)
    if len(values) < len(inputs):
        value = for_all_inputs(scale, value, len(values))
    for step in scale.rule.then:
        value = step.apply(value)
    return value


def after_own_steps(scale: Scale, inputs: Inputs) -> list[Exact]:
    """Each input that is no blank, after the steps that the rule takes with it alone."""
    if not any(scale.rule.each):
        return [value for value in inputs if value is not None]
    values: list[Exact] = []
    for steps, value in zip(scale.rule.each, inputs, strict=True):
        if value is not None:
            for step in steps:
                value = step.apply(value)
            values.append(value)
    return values


def for_all_inputs(scale: Scale, value: Exact, answered: int) -> Exact:
    """A sum over some of its inputs, as large as over all of them."""
    if not RULES[scale.rule.name].scales_up:
        return value
    return Fraction(value * len(scale.rule.inputs), answered)
