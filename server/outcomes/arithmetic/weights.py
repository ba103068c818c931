"""A result weighted for silence: each who answered stands for themselves and for the silent who were like them before.

The chance to answer is fitted by what was known of everybody before the window, and an answer counts by one over it. The predictors are
taken in the order in which they are given, at most one for each ten of the smaller of answered and silent, so that nobody chooses them by
the result. The most extreme weights are cut at the first and the last percentile of them (Cole and Hernan, Am J Epidemiol
2008;168:656-664). The limits are by bootstrap by person of all of it: how many predictors, the fit, the cut, the mean.

That the silent resemble those who answered, given what was known, is supposed and cannot be seen in the data.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.outcomes.arithmetic.limits import limits_of
from server.outcomes.arithmetic.logit import Numbers, fit_logit, probabilities
from server.outcomes.arithmetic.weighted import FEWEST_SILENT, SMALLEST_EFFECTIVE_N, Expected, NotWeighted, Weighted

TENTH = 10
CUT_BELOW, CUT_ABOVE = 0.01, 0.99
UNCUT = 1e-12
RESAMPLES = 400
AT_ONCE = 1_000_000  # numbers held at one moment


def weighted_result(
    shoulders: Sequence[Expected], seed: int, *, share: bool, resamples: int = RESAMPLES
) -> Weighted | NotWeighted:
    """`share`: values are 0 or 1. The same seed gives the same limits."""
    silent = sum(shoulder.value is None for shoulder in shoulders)
    if silent < FEWEST_SILENT:
        return NotWeighted("silent", silent)
    cells = _Cells(shoulders)
    counts = cells.counts(np.ones((1, cells.people)))
    (predictors,) = counts.may_use(cells.predictors)
    if not predictors:
        return NotWeighted("predictors", 0)
    whole = cells.weights(counts, predictors)
    weights = _cut(whole, counts.answered)
    total = float((weights * counts.answered).sum())
    effective = total**2 / float((weights**2 * counts.answered).sum())
    if effective < SMALLEST_EFFECTIVE_N:
        return NotWeighted("effective_n", int(effective))
    (mean,) = counts.means(weights)
    mean_weight = total / (len(shoulders) - silent)
    return Weighted(
        limits_of(float(mean), _variance(cells, seed, resamples), effective, share=share),
        len(shoulders) - silent,
        silent,
        predictors,
        effective,
        int(counts.answered[np.abs(weights - whole) > UNCUT].sum()),
        float(weights.min() / mean_weight),
        float(weights.max() / mean_weight),
    )


@dataclass(frozen=True)
class _Counts:
    """In each resample (a row) and cell (a column): how many answered and how many were silent, and the sum of the answers."""

    answered: Numbers
    silent: Numbers
    sums: Numbers

    def may_use(self, most: int) -> list[int]:
        """How many predictors, by resample."""
        smaller = np.minimum(self.answered.sum(axis=1), self.silent.sum(axis=1))
        return [min(most, int(each) // TENTH) for each in smaller]

    def means(self, weights: Numbers) -> Numbers:
        found: Numbers = (weights * self.sums).sum(axis=1) / (weights * self.answered).sum(axis=1)
        return found

    def only(self, which: NDArray[np.bool_]) -> "_Counts":
        return _Counts(self.answered[which], self.silent[which], self.sums[which])


class _Cells:
    """Shoulders of which the same was known before are one cell: they have the same chance to answer, and are reckoned once.

    Each predictor has mean 0 and spread 1, which changes no weight and lets the fit settle.
    """

    def __init__(self, shoulders: Sequence[Expected]) -> None:
        known = np.array([shoulder.known for shoulder in shoulders])
        cells, self._cell = np.unique(known, axis=0, return_inverse=True)
        middle, spread = known.mean(axis=0), known.std(axis=0)
        self.columns: Numbers = np.column_stack(
            [np.ones(len(cells)), (cells - middle) / np.where(spread > 0, spread, 1.0)]
        )
        # In an order of their own, so that the same people in other rows are drawn alike.
        persons = {
            person: number for number, person in enumerate(sorted({each.person for each in shoulders}, key=repr))
        }
        self.predictors = known.shape[1]
        self._person = np.array([persons[shoulder.person] for shoulder in shoulders])
        self.people = len(persons)
        self._answered = np.array([float(shoulder.value is not None) for shoulder in shoulders])
        self._values = np.array([shoulder.value or 0.0 for shoulder in shoulders])

    def counts(self, often: Numbers) -> _Counts:
        """`often`: how often each person stands in each resample."""
        shoulders = often[:, self._person]
        place = (self._cell + len(self.columns) * np.arange(len(often))[:, None]).ravel()

        def summed(values: Numbers) -> Numbers:
            found: Numbers = np.bincount(place, (shoulders * values).ravel(), len(often) * len(self.columns)).astype(
                float
            )
            return found.reshape(len(often), len(self.columns))

        return _Counts(summed(self._answered), summed(1 - self._answered), summed(self._values))

    def weights(self, counts: _Counts, predictors: int) -> Numbers:
        """One over the chance to answer, by resample and cell."""
        columns = self.columns[:, : 1 + predictors]
        found: Numbers = 1 / probabilities(columns, fit_logit(columns, counts.answered, counts.silent))
        return found


def _cut(weights: Numbers, answered: Numbers) -> Numbers:
    """To the first and the last percentile of those of the answers in the resample."""
    rows, order = np.arange(len(weights))[:, None], np.argsort(weights)
    below = np.cumsum(answered[rows, order], axis=1)
    ends = []
    for part in (CUT_BELOW, CUT_ABOVE):
        place = (below < part * below[:, -1:]).sum(axis=1)[:, None]
        ends.append(weights[rows, order[rows, place]])
    cut: Numbers = np.clip(weights, *ends)
    return cut


def _variance(cells: _Cells, seed: int, resamples: int) -> float:
    """Of the result over resamples of people, in each of which all of it is done anew."""
    chance = np.random.default_rng(seed)
    at_once = max(1, AT_ONCE // cells.people)
    found: list[float] = []
    for begin in range(0, resamples, at_once):
        counts = cells.counts(_drawn(chance, cells.people, min(at_once, resamples - begin)))
        counts = counts.only(counts.answered.sum(axis=1) > 0)
        used = np.array(counts.may_use(cells.predictors))
        for predictors in sorted(set(used.tolist())):
            some = counts.only(np.equal(used, predictors))
            found += some.means(_cut(cells.weights(some, predictors), some.answered)).tolist()
    return float(np.var(found, ddof=1))


def _drawn(chance: np.random.Generator, people: int, resamples: int) -> Numbers:
    """How often each person stands in each resample, of as many people as there are."""
    places = chance.integers(0, people, (resamples, people)) + people * np.arange(resamples)[:, None]
    often = np.bincount(places.ravel(), minlength=resamples * people)
    return often.reshape(resamples, people).astype(float)
