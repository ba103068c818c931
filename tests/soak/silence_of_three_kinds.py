"""Simulated series in which some are silent: what the complete case, the weighted result and the random quarter make of it.

Silence is at random, by what was known before, or by the very state that is asked about. The truth is known, so each estimate's bias and
how often its limits hold the truth are counted, and held to what theory says: the complete case is right only where silence is at random,
the weighted result also where it goes by what was known, the random quarter always.
"""

from math import exp, sqrt
from random import Random
from typing import NamedTuple

from server.outcomes.arithmetic.double_sampling import Lot, Told, double_sampled
from server.outcomes.arithmetic.proportion import Interval, wilson
from server.outcomes.arithmetic.weighted import Expected, Weighted
from server.outcomes.arithmetic.weights import weighted_result
from server.schedule.lots import drawn
from tests.soak.proof import Proof

SERIES, PEOPLE, RESAMPLES = 250, 400, 200
KINDS = ("at random", "by what was known before", "by the state itself")
RIGHT = {"complete": KINDS[:1], "weighted": KINDS[:2], "sampled": KINDS}
SMALLEST_BIAS = 0.02  # of those that must be wrong, since else nothing would be shown
LEAST_HELD = 0.91  # of 250 series whose limits hold the truth in 95 of 100, one in a hundred has fewer
MOST_STANDARD_ERRORS = 4.0


class Person(NamedTuple):
    number: str
    before: float
    age: float
    yes: bool
    answers: bool


def silence_of_three_kinds() -> list[Proof]:
    return [_kind(kind, Random(f"silence {kind}")) for kind in KINDS]


def _kind(kind: str, chance: Random) -> Proof:
    truth = _truth()
    estimates: dict[str, list[Interval]] = {"complete": [], "weighted": [], "sampled": []}
    for series in range(SERIES):
        people = [_person(number, kind, chance) for number in range(PEOPLE)]
        told = [person for person in people if person.answers]
        estimates["complete"].append(wilson(sum(person.yes for person in told), len(told)))
        estimates["weighted"].append(_weighted(people, series))
        estimates["sampled"].append(_sampled(people, f"{kind} {series}"))
    lost, said = [], []
    for name, found in estimates.items():
        bias = sum(each.estimate for each in found) / SERIES - truth
        held = sum(each.lower <= truth <= each.upper for each in found) / SERIES
        error = sqrt(sum((each.estimate - truth - bias) ** 2 for each in found)) / SERIES
        said.append(f"{name} {100 * bias:+.1f} points, holds {100 * held:.0f} %")
        if kind in RIGHT[name]:
            lost += [f"{name} is off by {bias:+.4f}"] if abs(bias) > MOST_STANDARD_ERRORS * error + 0.003 else []
            lost += [f"{name} holds the truth in {held:.3f}"] if held < LEAST_HELD else []
        elif abs(bias) < SMALLEST_BIAS:
            lost.append(f"{name} should be off, and is so by {bias:+.4f} only")
    return Proof(f"silence {kind}", f"{SERIES} series of {PEOPLE}: " + "; ".join(said), "; ".join(lost) or "nothing")


def _chance_of_yes(before: float) -> float:
    return 1 / (1 + exp(-(0.6 + 1.2 * before)))


def _truth() -> float:
    """Of both halves of whom one or the other was known before."""
    return (_chance_of_yes(1) + _chance_of_yes(-1)) / 2


def _person(number: int, kind: str, chance: Random) -> Person:
    before, age = chance.choice([-1.0, 1.0]), float(chance.randint(4, 8))
    yes = chance.random() < _chance_of_yes(before)
    logit = {KINDS[0]: 0.8, KINDS[1]: 0.8 + before, KINDS[2]: 1.4 if yes else -0.4}[kind]
    return Person(f"Y-{number:04d}", before, age, yes, chance.random() < 1 / (1 + exp(-logit)))


def _weighted(people: list[Person], seed: int) -> Interval:
    expected = [
        Expected(each.number, float(each.yes) if each.answers else None, (each.before, each.age)) for each in people
    ]
    found = weighted_result(expected, seed, share=True, resamples=RESAMPLES)
    assert isinstance(found, Weighted)
    return found.result


def _sampled(people: list[Person], seed: str) -> Interval:
    """All who are drawn answer once they are called."""
    silent = [person for person in people if not person.answers]
    chosen = drawn(seed, [person.number for person in silent])
    lots = [Lot(each.number, 0.25, float(each.yes)) if each.number in chosen else Lot(each.number) for each in silent]
    found = double_sampled([Told(each.number, float(each.yes)) for each in people if each.answers], lots, share=True)
    assert found.result is not None
    return found.result
