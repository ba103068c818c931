"""The infinitesimal jackknife by person: how far each person moves a curve, summed over their spans, then squared and added up.

Somebody with two shoulders counts as one who moves the curve twice, so that two spans that end alike do not pass for two
independent ones. The influence of a span on a curve has two parts: a step where it ends in an event, and a drain while it is at
risk. Both are told by `Path` for two running quantities, a and b; the curve at a time is moved by b - (its level) x a. Each
person's a and b are then a constant less (spans at risk) x drain, and the sums of squares change only where a span begins or ends.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from server.outcomes.arithmetic.spans import Span

# Of a sum of squares: rounding alone leaves up to 1e-14, as where one person has all spans; one event of 100,000 leaves 1e-10.
NOTHING = 1e-12


class Path(NamedTuple):
    """What one moment does to a span at risk: the drain of a and of b up to and with it, and the step for each status."""

    time: float
    drain_a: float
    drain_b: float
    steps: Mapping[int, tuple[float, float]]


@dataclass
class _Persons:
    """Of each person the constants of a and b and the spans at risk, and the sums over persons of their products."""

    of: dict[object, tuple[float, float, int]] = field(default_factory=dict)
    aa: float = 0.0
    ab: float = 0.0
    bb: float = 0.0
    am: float = 0.0
    bm: float = 0.0
    mm: float = 0.0

    def move(self, person: object, a: float, b: float, at_risk: int) -> None:
        old_a, old_b, old_m = self.of.get(person, (0.0, 0.0, 0))
        new_a, new_b, new_m = self.of[person] = (old_a + a, old_b + b, old_m + at_risk)
        self.aa += new_a * new_a - old_a * old_a
        self.ab += new_a * new_b - old_a * old_b
        self.bb += new_b * new_b - old_b * old_b
        self.am += new_a * new_m - old_a * old_m
        self.bm += new_b * new_m - old_b * old_m
        self.mm += new_m * new_m - old_m * old_m

    def squares(self, level: float, drain_a: float, drain_b: float) -> float:
        """The sum over persons of (b - level x a) squared."""
        drain = drain_b - level * drain_a
        constants = self.bb - 2 * level * self.ab + level * level * self.aa
        return max(0.0, constants - 2 * drain * (self.bm - level * self.am) + drain * drain * self.mm)


def squared_influence(spans: Sequence[Span], paths: Sequence[Path], levels: Sequence[float]) -> Iterator[float]:
    """At each path's time the sum over persons of (b - level x a) squared. A span without a person is a person of its own."""
    names = [index if span.person is None else span.person for index, span in enumerate(spans)]
    waiting = sorted(range(len(spans)), key=lambda index: spans[index].entry, reverse=True)
    leaving = sorted(range(len(spans)), key=lambda index: spans[index].time, reverse=True)
    persons, drain_a, drain_b = _Persons(), 0.0, 0.0
    for path, level in zip(paths, levels, strict=True):
        while waiting and spans[waiting[-1]].entry < path.time:
            persons.move(names[waiting.pop()], drain_a, drain_b, 1)
        while leaving and spans[leaving[-1]].time < path.time:
            persons.move(names[leaving.pop()], -drain_a, -drain_b, -1)
        drain_a, drain_b = path.drain_a, path.drain_b
        while leaving and spans[leaving[-1]].time == path.time:
            index = leaving.pop()
            step_a, step_b = path.steps.get(spans[index].status, (0.0, 0.0))
            persons.move(names[index], step_a - drain_a, step_b - drain_b, -1)
        yield persons.squares(level, drain_a, drain_b)
