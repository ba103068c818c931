"""The difference of two cumulative incidences at a stated time, robust by person: somebody with a shoulder in each group moves both.

No test: a log-rank or Gray's test takes every shoulder for a stranger to all others.
"""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Hashable, Mapping, Sequence
from math import sqrt
from statistics import NormalDist

from server.outcomes.arithmetic.incidence import incidence_paths
from server.outcomes.arithmetic.jackknife import NOTHING, Path
from server.outcomes.arithmetic.least_squares import Estimate
from server.outcomes.arithmetic.spans import Span


def incidence_difference(first: Sequence[Span], second: Sequence[Span], cause: int, time: float) -> Estimate | None:
    """The second less the first, with limits by the normal distribution; None where neither moved, since then no error can be formed.

    By the infinitesimal jackknife over the persons of both groups together.
    """
    before, moved = _at(first, "first", cause, time)
    after, others = _at(second, "second", cause, time)
    persons = {*moved, *others}
    squares = sum((others.get(person, 0.0) - moved.get(person, 0.0)) ** 2 for person in persons)
    if squares < NOTHING:
        return None
    half = NormalDist().inv_cdf(0.975) * sqrt(squares)
    return Estimate(after - before, after - before - half, after - before + half)


def _at(spans: Sequence[Span], group: str, cause: int, time: float) -> tuple[float, Mapping[Hashable, float]]:
    """The incidence at a time, and by how much each person moves it. A span without a person is a person of its own."""
    curve, paths = incidence_paths(spans, cause)
    last = bisect_right([path.time for path in paths], time)
    if not last:
        return 0.0, {}
    level, moved = curve[last - 1], _moved(spans, paths[:last])
    by_person: dict[Hashable, float] = defaultdict(float)
    for place, (span, (a, b)) in enumerate(zip(spans, moved, strict=True)):
        by_person[(group, place) if span.person is None else span.person] += b - level * a
    return level, by_person


def _moved(spans: Sequence[Span], paths: Sequence[Path]) -> list[tuple[float, float]]:
    """For each span the two quantities of server.outcomes.arithmetic.jackknife at the last of the paths."""
    times = [path.time for path in paths]
    drains = [(0.0, 0.0), *((path.drain_a, path.drain_b) for path in paths)]

    def of(span: Span) -> tuple[float, float]:
        begin, end = bisect_right(times, span.entry), bisect_right(times, span.time)
        last = paths[end - 1]
        step = last.steps.get(span.status, (0.0, 0.0)) if last.time == span.time else (0.0, 0.0)
        return drains[begin][0] - drains[end][0] + step[0], drains[begin][1] - drains[end][1] + step[1]

    return [of(span) for span in spans]
