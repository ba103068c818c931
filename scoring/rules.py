"""The named functions that bring several numbers together. Each has its arithmetic, how it reads, and what it can reach.

All work on scoring.steps.Exact: whole numerator and denominator.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from scoring.steps import Exact, Limits, words_of

Compute = Callable[[Sequence[Exact], Sequence[Fraction]], Exact]


@dataclass(frozen=True)
class NamedRule:
    """`compute` takes the values in the order of the rule's inputs, and the weights if it has any.

    `spreads`: what was answered can stand for the whole; `scales_up`: by as much as there are more inputs than answers.
    `whole`: whole numbers give a whole number.
    """

    compute: Compute
    explain: Callable[[Sequence[Exact], Sequence[Fraction]], str]
    one_input: bool = False
    weighted: bool = False
    spreads: bool = False
    scales_up: bool = False
    whole: bool = True


def add(values: Sequence[Exact]) -> Exact:
    """The sum, without rounding."""
    common = lcm(*(denominator for _, denominator in values))
    return sum(numerator * (common // denominator) for numerator, denominator in values), common


def _sum(values: Sequence[Exact], _weights: Sequence[Fraction]) -> Exact:
    return add(values)


def _mean(values: Sequence[Exact], _weights: Sequence[Fraction]) -> Exact:
    numerator, denominator = add(values)
    return numerator, denominator * len(values)


def _highest(values: Sequence[Exact], _weights: Sequence[Fraction]) -> Exact:
    return max(values, key=lambda value: Fraction(*value))


def _weighted(values: Sequence[Exact], weights: Sequence[Fraction]) -> Exact:
    return add([(n * weight.numerator, d * weight.denominator) for (n, d), weight in zip(values, weights, strict=True)])


def _only(values: Sequence[Exact], _weights: Sequence[Fraction]) -> Exact:
    return values[0]


def _listed(values: Sequence[Exact]) -> str:
    return " + ".join(words_of(value) for value in values)


def _explain_sum(values: Sequence[Exact], _weights: Sequence[Fraction]) -> str:
    return f"{_listed(values)} = {words_of(add(values))}"


def _explain_mean(values: Sequence[Exact], weights: Sequence[Fraction]) -> str:
    return f"({_listed(values)}) / {len(values)} = {words_of(_mean(values, weights))}"


def _explain_highest(values: Sequence[Exact], weights: Sequence[Fraction]) -> str:
    return f"the highest of {', '.join(words_of(value) for value in values)} = {words_of(_highest(values, weights))}"


def _explain_weighted(values: Sequence[Exact], weights: Sequence[Fraction]) -> str:
    terms = [f"{words_of(value)} x {words_of(w.as_integer_ratio())}" for value, w in zip(values, weights, strict=True)]
    return f"{' + '.join(terms)} = {words_of(_weighted(values, weights))}"


def _explain_value(values: Sequence[Exact], _weights: Sequence[Fraction]) -> str:
    return f"the answer itself: {words_of(values[0])}"


def reach(rule: NamedRule, limits: Sequence[Limits], weights: Sequence[Fraction]) -> Limits:
    """From the limits of each input. Every rule rises with each of them: weights are positive."""
    low = rule.compute([low.as_integer_ratio() for low, _ in limits], weights)
    high = rule.compute([high.as_integer_ratio() for _, high in limits], weights)
    return Fraction(*low), Fraction(*high)


RULES: Mapping[str, NamedRule] = {
    "sum": NamedRule(_sum, _explain_sum, spreads=True, scales_up=True),
    "value": NamedRule(_only, _explain_value, one_input=True),
    "mean": NamedRule(_mean, _explain_mean, spreads=True, whole=False),
    "highest": NamedRule(_highest, _explain_highest),
    "weighted": NamedRule(_weighted, _explain_weighted, weighted=True),
}

MISSING_RULES = ("complete", "fill", "prorate", "applicable")
