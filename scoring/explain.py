"""The arithmetic of a score in lines that a person can follow with a pencil."""

from collections.abc import Iterator, Mapping

from scoring.answers import NOT_GIVEN, Answer
from scoring.definition import Definition, Scale
from scoring.rules import RULES
from scoring.score import SCORING_VERSION, STATE_WORDS, ScaleScore, fill_blanks, score, values_of


def explain(definition: Definition, answers: Mapping[str, Answer]) -> str:
    """Every scale: the items used, the blanks and why, each step, the result, its source. Ends with a line end."""
    lines = [f"{definition.title} ({definition.spec}), scoring version {SCORING_VERSION}", "", "Answers"]
    for item in definition.items:
        answer = answers.get(item.item, Answer(NOT_GIVEN))
        given = answer.value if answer.state == "answered" else STATE_WORDS[answer.state]
        lines.append(f"  {item.item:>3}  {item.topic}: {given}")
    for scale, result in zip(definition.scales, score(definition, answers), strict=True):
        lines += ["", f"{scale.title} ({scale.scale})", *(f"  {line}" for line in _steps(scale, result, answers))]
    lines += ["", "Sources", *(f"  {source}" for source in definition.sources)]
    return "\n".join(lines) + "\n"


def _steps(scale: Scale, result: ScaleScore, answers: Mapping[str, Answer]) -> Iterator[str]:
    yield f"method: {scale.method}"
    values = values_of(scale, answers)
    blanks = [name for name, value in zip(scale.rule.items, values, strict=True) if value is None]
    if blanks:
        yield f"items without an answer: {', '.join(blanks)}"
    if result.reason:
        yield result.reason
    complete = fill_blanks(scale.missing, values)
    if complete is None:
        yield "result: no score"
    else:
        yield RULES[scale.rule.name].explain(complete)
        low, high = result.range
        yield f"result: {result.value} in a range from {low} to {high}, {result.better} is better"
    yield f"missing answers: {scale.missing.source}"
