"""Logistic regression of many resamples at once, by Newton's method.

statsmodels fits one at a time and sets up a model with names and a result for each, which takes seconds for a bootstrap; all resamples
together are thirty lines of numpy. A test holds it to the numbers of R's glm and of statsmodels.
"""

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]
SETTLED = 1e-6  # of the largest change of a coefficient; what is still wrong then is the square of it
MOST_ROUNDS = 30
FURTHEST = 30.0  # on the scale of the logit: beyond it a probability is 0 or 1 to thirteen digits


def fit_logit(columns: Numbers, happened: Numbers, others: Numbers) -> Numbers:
    """A row of coefficients for each row of `happened` and `others`: of how many cases like each row of `columns` it happened, and of how
    many not. One of the columns is the constant.

    Where the columns tell the two apart without fail, or one of them says nothing, the likelihood has no single top: the coefficients are
    then those at which the rounds ended, and the probabilities from them are right.
    """
    size, counts = columns.shape[1], happened + others
    squares = (columns[:, :, None] * columns[:, None]).reshape(len(columns), size * size)
    found: Numbers = np.zeros((len(happened), size))
    for _ in range(MOST_ROUNDS):
        chance = probabilities(columns, found)
        # einsum and not @, which starts threads of its own: with a page in each of them they wait for each other, fifty times as long.
        slope = np.einsum("rc,cp->rp", happened - counts * chance, columns)
        curve = np.einsum("rc,cp->rp", counts * chance * (1 - chance), squares).reshape(len(found), size, size)
        # Next to nothing, so that a column that is constant in a resample does not stop it; the top lies where it lay.
        curve += 1e-9 * np.eye(size)
        step = np.linalg.solve(curve, slope[:, :, None]).reshape(slope.shape)
        found = found + step
        if np.abs(step).max() < SETTLED:
            break
    return found


def probabilities(columns: Numbers, coefficients: Numbers) -> Numbers:
    """By row of coefficients, of each row of columns."""
    logit = np.einsum("rp,cp->rc", coefficients, columns)
    found: Numbers = 1 / (1 + np.exp(-np.clip(logit, -FURTHEST, FURTHEST)))
    return found
