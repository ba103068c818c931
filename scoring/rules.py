"""The named functions that bring several numbers together. Each has its arithmetic, how it reads, and what it can reach.

All work on exact numbers: whole ones or fractions.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from scoring.steps import Exact, Limits, words_of

Compute = Callable[[Sequence[Exact], Sequence[Exact]], Exact]


@dataclass(frozen=True)
class NamedRule:
    """`compute` takes the values in the order of the rule's inputs, and the weights if it has any.

    `spreads`: what was answered can stand for the whole; `scales_up`: by as much as there are more inputs than answers.
    `whole`: whole numbers give a whole number.
    """

    compute: Compute
    explain: Callable[[Sequence[Exact], Sequence[Exact]], str]
    one_input: bool = False
    weighted: bool = False
    spreads: bool = False
    scales_up: bool = False
    whole: bool = True


def _sum(values: Sequence[Exact], _weights: Sequence[Exact]) -> Exact:
    return sum(values)


def _mean(values: Sequence[Exact], _weights: Sequence[Exact]) -> Exact:
    return Fraction(sum(values), len(values))


def _highest(values: Sequence[Exact], _weights: Sequence[Exact]) -> Exact:
    return max(values)


def _weighted(values: Sequence[Exact], weights: Sequence[Exact]) -> Exact:
    return sum(value * weight for value, weight in zip(values, weights, strict=True))


def _only(values: Sequence[Exact], _weights: Sequence[Exact]) -> Exact:
    return values[0]


def _listed(values: Sequence[Exact]) -> str:
    return " + ".join(words_of(value) for value in values)


def _explain_sum(values: Sequence[Exact], _weights: Sequence[Exact]) -> str:
    return f"{_listed(values)} = {words_of(sum(values))}"


def _explain_mean(values: Sequence[Exact], weights: Sequence[Exact]) -> str:
    return f"({_listed(values)}) / {len(values)} = {words_of(_mean(values, weights))}"


def _explain_highest(values: Sequence[Exact], weights: Sequence[Exact]) -> str:
    return f"the highest of {', '.join(words_of(value) for value in values)} = {words_of(_highest(values, weights))}"


def _explain_weighted(values: Sequence[Exact], weights: Sequence[Exact]) -> str:
    terms = [f"{words_of(value)} x {words_of(weight)}" for value, weight in zip(values, weights, strict=True)]
    return f"{' + '.join(terms)} = {words_of(_weighted(values, weights))}"


def _explain_value(values: Sequence[Exact], _weights: Sequence[Exact]) -> str:
    return f"the answer itself: {words_of(values[0])}"


def limits_of(rule: NamedRule, inputs: Sequence[Limits], weights: Sequence[Exact]) -> Limits:
    """What the rule can give, from the limits of each input. Every rule rises with each of them: weights are positive."""
    return rule.compute([low for low, _ in inputs], weights), rule.compute([high for _, high in inputs], weights)


RULES: Mapping[str, NamedRule] = {
    "sum": NamedRule(_sum, _explain_sum, spreads=True, scales_up=True),
    "value": NamedRule(_only, _explain_value, one_input=True),
    "mean": NamedRule(_mean, _explain_mean, spreads=True, whole=False),
    "highest": NamedRule(_highest, _explain_highest),
    "weighted": NamedRule(_weighted, _explain_weighted, weighted=True),
}

MISSING_RULES = ("complete", "fill", "prorate", "applicable")
