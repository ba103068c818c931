"""How often the limits of the acceptable share hold the truth, computed exactly, beside simulated series.

The share is a product: unrevised among all whose implant is known, times yes among the unrevised who answered. Every count that a series
can have is gone through with its probability, so that the coverage is known to the last digit; simulated series must agree with it, and
of series in which a share is formed no truth may be held less often than `LEAST`. In two of the truths few answer and hardly anybody is
revised or says no, so that one share often stands at its end.
"""

from collections.abc import Sequence
from math import comb, sqrt
from random import Random

from server.outcomes.arithmetic.product import Counts, product_by_person
from tests.soak.proof import Proof

PEOPLE, SERIES, FURTHEST, LEAST = 40, 1500, 4.0, 0.93
# The chances of a person: revised; unrevised and yes, no, or silent.
TRUTHS = (
    (0.1, 0.6, 0.15, 0.15), (0.3, 0.3, 0.2, 0.2), (0.05, 0.8, 0.05, 0.1), (0.02, 0.27, 0.03, 0.68), (0.02, 0.03, 0.27, 0.68),
)  # fmt: skip
# What such a person counts: unrevised, revised, yes, no.
KINDS: Sequence[Counts] = ((0, 1, 0, 0), (1, 0, 1, 0), (1, 0, 0, 1), (1, 0, 0, 0))


def coverage_of_a_product() -> Proof:
    chance, lost, said = Random(40), [], []
    for truth in TRUTHS:
        share = (1 - truth[0]) * truth[1] / (truth[1] + truth[2])
        exact, formed = _exactly(truth, share)
        found = sum(_holds(chance.choices(range(len(KINDS)), truth, k=PEOPLE), share) for _ in range(SERIES)) / SERIES
        said.append(f"{found:.4f}, exactly {exact:.4f}")
        if abs(found - exact) > FURTHEST * sqrt(exact * (1 - exact) / SERIES) or exact < LEAST * formed:
            lost.append(f"at {truth}: {said[-1]}")
    return Proof(
        "limits of the acceptable share",
        f"{PEOPLE} people, {SERIES} series each: " + "; ".join(said),
        "; ".join(lost) or "nothing",
    )


def _holds(people: Sequence[int], share: float) -> bool:
    return _hold([people.count(place) for place in range(len(KINDS))], share) is True


def _hold(counts: Sequence[int], share: float) -> bool | None:
    """None of a series in which nothing can be said."""
    found = product_by_person(dict(zip(KINDS, counts, strict=True)))
    return None if found is None else found.lower <= share <= found.upper


def _exactly(truth: Sequence[float], share: float) -> tuple[float, float]:
    """How often the limits hold it, and how often there are any."""
    holding = formed = 0.0
    for revised in range(PEOPLE + 1):
        for yes in range(PEOPLE + 1 - revised):
            for no in range(PEOPLE + 1 - revised - yes):
                counts = (revised, yes, no, PEOPLE - revised - yes - no)
                holds = _hold(counts, share)
                if holds is not None:
                    holding, formed = (
                        holding + holds * _probability(counts, truth),
                        formed + _probability(counts, truth),
                    )
    return holding, formed


def _probability(counts: Sequence[int], truth: Sequence[float]) -> float:
    left, found = PEOPLE, 1.0
    for count, chance in zip(counts, truth, strict=True):
        found *= comb(left, count) * chance**count
        left -= count
    return found
