"""How a scale is worked out, in sentences made from its rule; and what happens to blanks."""

from collections.abc import Iterator, Sequence

from scoring.definition import BASES, Definition, Rule, Scale
from scoring.steps import Affine, Band, Exact, Limit, Step, Table, words_of
from server.staff.page import words

RULE = {
    "sum": "Add up {}",
    "mean": "Take the mean of {}",
    "highest": "Take the highest of {}",
    "value": "Take {} as it is",
}


def rule_sentences(definition: Definition, scale: Scale) -> list[str]:
    """What is done to each input, what brings them together, what is done after it; in the order of the arithmetic."""
    rule = scale.rule
    return [
        *_each(definition, rule),
        _together(definition, rule),
        *(f"Then: {step_words(each)}." for each in rule.then),
    ]


def blanks_rule(scale: Scale, count: int) -> str:
    """What happens to blanks among its `count` items, with what a rule for standing in rests on."""
    missing = scale.missing
    if scale.rule.scales:
        return "as the scales that it is made of say"
    if missing.name == "complete":
        return "all items are needed" if count > 1 else "without an answer there is no value"
    if missing.name == "fill":
        return f"each blank counts as {missing.value}: a bound, not a score of its own"
    others = ", if all others do not apply" if missing.name == "applicable" else ""
    basis = BASES[missing.basis] or "published rule"
    return f"from {missing.needs} answers of {count} on, those given stand for all{others} ({basis})"


def items_in_words(definition: Definition, names: Sequence[str]) -> str:
    """Neighbours of the definition together: "1 to 4, 6 and 8 to 12"; "none"."""
    order = {item: place for place, item in enumerate(definition.by_item)}
    runs: list[list[str]] = []
    for name in names:
        if runs and order[name] == order[runs[-1][-1]] + 1:
            runs[-1].append(name)
        else:
            runs.append([name])
    parts = [part for run in runs for part in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else run)]
    return words.listed(parts) or "none"


def step_words(step: Step) -> str:
    """One step on a number n. Any step of scoring.steps has words here, or this raises TypeError."""
    if isinstance(step, Affine):
        return f"n becomes {step.how('n').replace(' x ', ' × ')}"
    if isinstance(step, Band):
        return f"n becomes the number of its band: {'; '.join(_bands(step))}"
    if isinstance(step, Table):
        rows = ", ".join(f"{key} gives {_said(value)}" for key, value in step.gives.items())
        return f"n is looked up in a table: {rows}"
    return f"at most {_said(step.high)}" if isinstance(step, Limit) else "rounded to a whole number, a half upwards"


def _bands(step: Band) -> Iterator[str]:
    if step.inclusive:
        yield from (
            f"up to {_said(edge)} gives {_said(gives)}" for edge, gives in zip(step.edges, step.gives, strict=False)
        )
        yield f"above gives {_said(step.gives[-1])}"
    else:
        yield f"below {_said(step.edges[0])} gives {_said(step.gives[0])}"
        yield from (
            f"from {_said(edge)} on gives {_said(gives)}"
            for edge, gives in zip(step.edges, step.gives[1:], strict=True)
        )


def _each(definition: Definition, rule: Rule) -> Iterator[str]:
    """Inputs that take the same steps together. Steps are compared by what they say."""
    alike: dict[tuple[str, ...], list[str]] = {}
    for name, steps in zip(rule.inputs, rule.each, strict=False):
        if steps:
            alike.setdefault(tuple(step_words(step) for step in steps), []).append(name)
    for said, names in alike.items():
        yield f"For {_inputs(definition, rule, names)}: {', then '.join(said)}."


def _together(definition: Definition, rule: Rule) -> str:
    if rule.name == "weighted":
        parts = (f"{_said(w)} × {name}" for name, w in zip(_names(definition, rule), rule.weights, strict=True))
        return f"Add up {' + '.join(parts)}."
    return f"{RULE[rule.name].format(_inputs(definition, rule, rule.inputs))}."


def _names(definition: Definition, rule: Rule) -> list[str]:
    if rule.scales:
        return [f"“{definition.by_scale[name].title}”" for name in rule.scales]
    return [f"item {name}" for name in rule.items]


def _inputs(definition: Definition, rule: Rule, names: Sequence[str]) -> str:
    if rule.scales:
        return words.listed([f"“{definition.by_scale[name].title}”" for name in names])
    return f"{'items' if len(names) > 1 else 'item'} {items_in_words(definition, names)}"


def _said(value: Exact) -> str:
    return words_of(value)
