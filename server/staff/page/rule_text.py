"""How a scale is worked out, in sentences made from its rule; and what happens to blanks."""

from collections.abc import Iterator, Sequence

from scoring.definition import BASES, Definition, Rule, Scale
from scoring.steps import Affine, Band, Exact, Limit, Step, Table, words_of
from server.staff.page import words
from server.words.phrase import phrase

RULE = {
    "sum": phrase("Add up %(inputs)s."),
    "mean": phrase("Take the mean of %(inputs)s."),
    "highest": phrase("Take the highest of %(inputs)s."),
    "value": phrase("Take %(inputs)s as it is."),
}


def rule_sentences(definition: Definition, scale: Scale) -> list[str]:
    """What is done to each input, what brings them together, what is done after it; in the order of the arithmetic."""
    rule = scale.rule
    return [
        *_each(definition, rule),
        _together(definition, rule),
        *(words.gettext("Then: %(step)s.") % {"step": step_words(each)} for each in rule.then),
    ]


def blanks_rule(scale: Scale, count: int) -> str:
    """What happens to blanks among its `count` items, with what a rule for standing in rests on."""
    missing = scale.missing
    if scale.rule.scales:
        return words.gettext("as the scales that it is made of say")
    if missing.name == "complete":
        return (
            words.gettext("all items are needed") if count > 1 else words.gettext("without an answer there is no value")
        )
    if missing.name == "fill":
        return words.gettext("each blank counts as %(value)s: a bound, not a score of its own") % {
            "value": missing.value
        }
    rule = (
        words.gettext(
            "from %(needed)s answers of %(count)s on, those given stand for all, if all others do not apply (%(basis)s)"
        )
        if missing.name == "applicable"
        else words.gettext("from %(needed)s answers of %(count)s on, those given stand for all (%(basis)s)")
    )
    basis = BASES[missing.basis] or words.gettext("published rule")
    return rule % {"needed": missing.needs, "count": count, "basis": basis}


def items_in_words(definition: Definition, names: Sequence[str]) -> str:
    """Neighbours of the definition together: "1 to 4, 6 and 8 to 12"; "none"."""
    order = {item: place for place, item in enumerate(definition.by_item)}
    runs: list[list[str]] = []
    for name in names:
        if runs and order[name] == order[runs[-1][-1]] + 1:
            runs[-1].append(name)
        else:
            runs.append([name])
    span = words.gettext("%(first)s to %(last)s")
    parts = [part for run in runs for part in ([span % {"first": run[0], "last": run[-1]}] if len(run) > 2 else run)]
    return words.listed(parts) or words.gettext("none")


def step_words(step: Step) -> str:
    """One step on a number n. Any step of scoring.steps has words here, or this raises TypeError."""
    if isinstance(step, Affine):
        return words.gettext("n becomes %(formula)s") % {"formula": step.how("n").replace(" x ", " × ")}
    if isinstance(step, Band):
        return words.gettext("n becomes the number of its band: %(bands)s") % {"bands": "; ".join(_bands(step))}
    if isinstance(step, Table):
        row = words.gettext("%(key)s gives %(value)s")
        rows = ", ".join(row % {"key": key, "value": _said(value)} for key, value in step.gives.items())
        return words.gettext("n is looked up in a table: %(rows)s") % {"rows": rows}
    if isinstance(step, Limit):
        return words.gettext("at most %(highest)s") % {"highest": _said(step.high)}
    return words.gettext("rounded to a whole number, a half upwards")


def _bands(step: Band) -> Iterator[str]:
    if step.inclusive:
        up_to, above = words.gettext("up to %(edge)s gives %(value)s"), words.gettext("above gives %(value)s")
        for edge, gives in zip(step.edges, step.gives, strict=False):
            yield up_to % {"edge": _said(edge), "value": _said(gives)}
        yield above % {"value": _said(step.gives[-1])}
    else:
        below, on = words.gettext("below %(edge)s gives %(value)s"), words.gettext("from %(edge)s on gives %(value)s")
        yield below % {"edge": _said(step.edges[0]), "value": _said(step.gives[0])}
        for edge, gives in zip(step.edges, step.gives[1:], strict=True):
            yield on % {"edge": _said(edge), "value": _said(gives)}


def _each(definition: Definition, rule: Rule) -> Iterator[str]:
    """Inputs that take the same steps together. Steps are compared by what they say."""
    alike: dict[tuple[str, ...], list[str]] = {}
    for name, steps in zip(rule.inputs, rule.each, strict=False):
        if steps:
            alike.setdefault(tuple(step_words(step) for step in steps), []).append(name)
    for said, names in alike.items():
        yield words.gettext("For %(inputs)s: %(steps)s.") % {
            "inputs": _inputs(definition, rule, names),
            "steps": words.gettext(", then ").join(said),
        }


def _together(definition: Definition, rule: Rule) -> str:
    if rule.name == "weighted":
        parts = (f"{_said(w)} × {name}" for name, w in zip(_names(definition, rule), rule.weights, strict=True))
        return words.gettext("Add up %(inputs)s.") % {"inputs": " + ".join(parts)}
    return words.gettext(RULE[rule.name].text) % {"inputs": _inputs(definition, rule, rule.inputs)}


def _names(definition: Definition, rule: Rule) -> list[str]:
    if rule.scales:
        return [f"“{definition.by_scale[name].title}”" for name in rule.scales]
    return [words.gettext("item %(item)s") % {"item": name} for name in rule.items]


def _inputs(definition: Definition, rule: Rule, names: Sequence[str]) -> str:
    if rule.scales:
        return words.listed([f"“{definition.by_scale[name].title}”" for name in names])
    said = words.ngettext("item %(items)s", "items %(items)s", len(names))
    return said % {"items": items_in_words(definition, names)}


def _said(value: Exact) -> str:
    return words_of(value)
