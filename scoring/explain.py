"""The arithmetic of a score in lines that a person can follow with a pencil."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from scoring.answers import NOT_GIVEN, Answer
from scoring.definition import Definition, Scale
from scoring.printed_decimals import half_up
from scoring.score import SCORING_VERSION, STATE_WORDS, ScaleScore, score, workings
from scoring.steps import Exact, Number, words_of
from scoring.work import Unit, Working, spread, stepped

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
    worked = workings(definition, answers)
    found = []
    for scale, result in zip(definition.scales, score(definition, answers), strict=True):
        unit, working = worked[scale.scale]
        lines = () if result.value is None else tuple(_arithmetic(definition, unit, working))
        found.append(Explained(scale, result, unit.names, lines))
    return tuple(found)


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


def _arithmetic(definition: Definition, unit: Unit, working: Working) -> Iterator[str]:
    rule = unit.scale.rule
    for place, value in working.inputs:
        for step in rule.each[place]:
            yield f"item {rule.inputs[place]}: {step.explain(value)}"
            value = step.apply(value)
    if rule.scales:
        titles = [f"{definition.by_scale[name].title} ({name})" for name in rule.scales]
        yield f"from {', '.join(titles)}"
    values = stepped(unit, working.inputs)
    if rule.name != "value" or rule.items:
        yield unit.rule.explain(values, rule.weights)
    value = unit.rule.compute(values, rule.weights)
    if spread(unit, value, len(values)) != value:
        count, answered = len(rule.inputs), len(values)
        prorated = spread(unit, value, answered)
        yield f"{words_of(value)} from {answered} items, for all {count}: x {count}/{answered} = {words_of(prorated)}"
        value = prorated
    yield from _last_steps(unit, value)


def _last_steps(unit: Unit, value: Exact) -> Iterator[str]:
    for step in unit.scale.rule.then:
        yield step.explain(value)
        value = step.apply(value)


def _value(value: Number, scale: Scale) -> str:
    """In full, and as it is shown."""
    short = half_up(value, scale.decimals)
    return str(value) if isinstance(value, int) or str(value) == short else f"{value} (shown as {short})"
