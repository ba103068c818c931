"""The log-rank test of any number of groups, with the hypergeometric variance; the shortcut sum of (O - E) squared / E is not it."""

from collections.abc import Mapping, Sequence
from itertools import chain
from math import erfc, exp, pi, sqrt
from typing import NamedTuple

from server.outcomes.arithmetic.spans import EVENT, RiskSet, Span, moments

NOTHING = 1e-9  # a pivot below this share of the largest variance is only rounding


class LogRank(NamedTuple):
    chi2: float
    df: int
    p: float
    observed: dict[str, int]
    expected: dict[str, float]


def log_rank(groups: Mapping[str, Sequence[Span]]) -> LogRank | None:
    """Observed and expected events of each group; any end but status 1 censors. None where no two groups were at risk together at
    an event. Holds only for independent spans: not where anybody has more than one."""
    names = list(groups)
    expected, variance = dict.fromkeys(names, 0.0), [[0.0] * len(names) for _ in names]
    at_risk = [RiskSet(groups[name]) for name in names]
    for moment in moments(list(chain.from_iterable(groups.values()))):
        events, total = moment.events[EVENT], moment.at_risk
        shares = [group.at(moment.time) / total for group in at_risk]
        spread = events * (total - events) / max(1, total - 1)
        for row, name in enumerate(names):
            expected[name] += events * shares[row]
            for column in range(len(names)):
                variance[row][column] += spread * shares[row] * ((row == column) - shares[column])
    observed = {name: sum(span.status == EVENT for span in groups[name]) for name in names}
    chi2, df = _quadratic_form([observed[name] - expected[name] for name in names], variance)
    return LogRank(chi2, df, chi2_tail(chi2, df), observed, expected) if df else None


def _quadratic_form(difference: Sequence[float], variance: Sequence[Sequence[float]]) -> tuple[float, int]:
    """difference' variance^- difference, and the rank of the variance; by elimination, leaving out what depends on the rest."""
    rows = [[*line, by] for line, by in zip(variance, difference, strict=True)]
    least = NOTHING * max(line[index] for index, line in enumerate(variance))
    form, rank, waiting = 0.0, 0, set(range(len(rows)))
    while waiting:
        pivot = max(waiting, key=lambda index: rows[index][index])
        waiting.remove(pivot)
        if rows[pivot][pivot] <= least:
            break
        form, rank = form + rows[pivot][-1] ** 2 / rows[pivot][pivot], rank + 1
        for index in waiting:
            factor = rows[index][pivot] / rows[pivot][pivot]
            rows[index] = [value - factor * by for value, by in zip(rows[index], rows[pivot], strict=True)]
    return form, rank


def chi2_tail(chi2: float, df: int) -> float:
    """The chance of a larger value; the finite sums 26.4.4 and 26.4.5 of Abramowitz and Stegun, Handbook of Mathematical Functions."""
    odd = df % 2
    tail = erfc(sqrt(chi2 / 2)) if odd else exp(-chi2 / 2)
    term = sqrt(2 * chi2 / pi) * exp(-chi2 / 2) if odd else exp(-chi2 / 2) * chi2 / 2
    for place in range(1, (df + 1) // 2):
        tail += term
        term *= chi2 / (2 * place + 2 - odd)
    return min(1.0, tail)
