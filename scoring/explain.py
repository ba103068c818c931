"""The arithmetic of a score in lines that a person can follow with a pencil."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from scoring.answers import NOT_GIVEN, Answer
from scoring.compute import Computation, after_own_steps, compute_scales, for_all_inputs
from scoring.definition import Definition, Scale
from scoring.printed_decimals import half_up
from scoring.rules import RULES
from scoring.score import SCORING_VERSION, STATE_WORDS, ScaleScore, score
from scoring.steps import Number, words_of

STATUS_WORDS = {
    "needs_permission": "not to be sent before its owner has agreed",
    "unverified": "not verified: part of it was not read in a published source",
}


@dataclass(frozen=True)
class Explained:
    """How one scale came about. `items`: those it rests on, also through other scales, in their order; `arithmetic`: a line a
    step, empty without a score."""

    scale: Scale
    result: ScaleScore
    items: tuple[str, ...]
    arithmetic: tuple[str, ...]


def explain_scales(definition: Definition, answers: Mapping[str, Answer]) -> tuple[Explained, ...]:
    """One for each scale, in the order of the definition, of answers that have been checked."""
    computed = compute_scales(definition, answers)
    explained = []
    for scale, result in zip(definition.scales, score(definition, answers), strict=True):
        lines = () if result.value is None else tuple(_arithmetic(definition, scale, computed[scale.scale]))
        explained.append(Explained(scale, result, definition.items_under[scale.scale], lines))
    return tuple(explained)


def explain(definition: Definition, answers: Mapping[str, Answer]) -> str:
    """Every scale: the items used, the blanks and why, each step, the result, its source. Ends with a line end."""
    lines = [f"{definition.title} ({definition.spec}), scoring version {SCORING_VERSION}"]
    if definition.status != "usable":
        lines.append(f"{STATUS_WORDS[definition.status]}; see the sources")
    lines += ["", "Answers"]
    for item in definition.items:
        answer = answers.get(item.item, Answer(NOT_GIVEN))
        given = answer.value if answer.state == "answered" else STATE_WORDS[answer.state]
        lines.append(f"  {item.item:>3}  {item.topic}: {given}")
    for each in explain_scales(definition, answers):
        lines += ["", f"{each.scale.title} ({each.scale.scale})", *(f"  {line}" for line in _steps(each, answers))]
    lines += ["", "Sources", *(f"  {source}" for source in definition.sources)]
    return "\n".join(lines) + "\n"


def _steps(explained: Explained, answers: Mapping[str, Answer]) -> Iterator[str]:
    scale, result = explained.scale, explained.result
    yield f"method: {scale.method}"
    blanks = [name for name in explained.items if name not in answers or answers[name].state != "answered"]
    if blanks:
        yield f"items without an answer: {', '.join(blanks)}"
    if result.reason:
        yield result.reason
    if result.value is None:
        yield "result: no score"
    else:
        yield from explained.arithmetic
        low, high = result.range
        yield f"result: {_value(result.value, scale)} in a range from {low} to {high}, {result.better} is better"
    yield f"missing answers: {scale.missing.source}"


def _arithmetic(definition: Definition, scale: Scale, computation: Computation) -> Iterator[str]:
    rule, named = scale.rule, RULES[scale.rule.name]
    for name, steps, value in zip(rule.inputs, rule.each, computation.inputs, strict=True):
        if value is not None:
            for step in steps:
                yield f"item {name}: {step.explain(value)}"
                value = step.apply(value)
    if rule.scales:
        titles = [f"{definition.by_scale[name].title} ({name})" for name in rule.scales]
        yield f"from {', '.join(titles)}"
    values = after_own_steps(scale, computation.inputs)
    if rule.name != "value" or rule.items:
        yield named.explain(values, rule.weights)
    value, count, answered = named.compute(values, rule.weights), len(rule.inputs), len(values)
    prorated = for_all_inputs(scale, value, answered)
    if prorated != value:
        yield f"{words_of(value)} from {answered} items, for all {count}: x {count}/{answered} = {words_of(prorated)}"
    for step in rule.then:
        yield step.explain(prorated)
        prorated = step.apply(prorated)


def _value(value: Number, scale: Scale) -> str:
    """In full, and as it is shown."""
    short = half_up(value, scale.decimals)
    return str(value) if isinstance(value, int) or str(value) == short else f"{value} (shown as {short})"
