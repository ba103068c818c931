"""A mixed model gives what nlme gives, names the covariance that converged, and says so where none does."""

import csv
import shutil
import subprocess
import warnings
from collections.abc import Callable
from random import Random
from types import SimpleNamespace

import numpy as np
import pytest

from server.outcomes.arithmetic.mixed import _converged, fit_mixed
from tests.outcomes.arithmetic.sets import DATA


def orthodont() -> tuple[list[float], list[list[float]], list[str], list[float]]:
    with (DATA / "orthodont.csv").open(encoding="utf-8", newline="") as written:
        rows = list(csv.DictReader(written, strict=True))
    ages = [float(row["age"]) for row in rows]
    return [float(row["distance"]) for row in rows], [[1, age] for age in ages], [row["subject"] for row in rows], ages


@pytest.mark.parametrize(
    ("covariance", "expected"),
    [
        ("intercept_and_slope", (0.77524601, 0.07125326, 2.32703393, 0.22642779, 1.31003970, -221.3183429)),
        ("intercept_and_slope_apart", (0.71379603, 0.06560523, 1.38603808, 0.14925312, 1.37064040, -221.6572901)),
        ("intercept", (0.80239522, 0.06160592, 2.11472351, 1.43159213, -223.5012578)),
    ],
)
def test_each_covariance_against_nlme_orthodont(covariance: str, expected: tuple[float, ...]) -> None:
    """lme(distance ~ age, random = ~ age | subject, method = "REML"), with list(subject = pdDiag(~ age)) and with ~ 1 | subject; age
    uncentred; nlme 3.1, R 4.2. Errors, deviations of the random effects and of what is left, likelihood."""
    found = fit_mixed(*orthodont(), covariances=(covariance,))

    assert found is not None and found.covariance == covariance
    assert found.fixed == pytest.approx((16.7611111, 0.6601852), abs=5e-7)
    assert (*found.se, *found.sds, found.residual_sd, found.log_likelihood) == pytest.approx(expected, rel=2e-5)


def test_a_random_intercept_and_slope_beside_nlme_where_it_is() -> None:
    """lme(distance ~ age, random = ~ age | Subject, method = "REML"), through the same file."""
    asked = f"""library(nlme); d <- read.csv("{DATA / "orthodont.csv"}")
    f <- lme(distance ~ age, random = ~ age | subject, data = d, method = "REML")
    cat(fixef(f), sqrt(diag(vcov(f))), as.numeric(VarCorr(f)[, 2]), logLik(f))"""
    r = shutil.which("Rscript") or pytest.skip("R is not installed here: lme was not run beside")
    ran = subprocess.run([r, "-e", asked], capture_output=True, text=True)
    if ran.returncode:
        pytest.skip("R is here without its package nlme: lme was not run beside")
    found = fit_mixed(*orthodont(), covariances=("intercept_and_slope",))

    assert found is not None
    ours = (*found.fixed, *found.se, *found.sds, found.residual_sd, found.log_likelihood)
    assert ours == pytest.approx([float(each) for each in ran.stdout.split()], rel=2e-4)


def test_the_first_covariance_that_converges_is_used_and_named() -> None:
    found = fit_mixed(*orthodont())

    assert found is not None and (found.covariance, found.tried) == ("intercept_and_slope", ())


def test_one_that_lies_on_the_edge_is_passed_over_and_told() -> None:
    """Everybody's slope is the same, so that a random slope has nothing to do."""
    chance = Random(3)
    values, design, persons, times = [], [], [], []
    for person in range(30):
        level = chance.gauss(0, 3)
        for time, error in zip((0.0, 1.0, 2.0, 3.0), (0.5, -0.5, -0.5, 0.5), strict=True):
            values.append(level + time + error)
            design.append([1.0, time])
            persons.append(person)
            times.append(time)
    found = fit_mixed(values, design, persons, times)

    assert found is not None and found.covariance == "intercept"
    assert found.tried == ("intercept_and_slope", "intercept_and_slope_apart") and found.fixed[1] == pytest.approx(
        1, abs=1e-6
    )


def test_a_search_that_stops_below_the_top_is_no_fit() -> None:
    """Twelve people three times: the likeliest intercepts and slopes are correlated by 1, at -116.939; Powell's search ends at -116.944.
    The next covariance is used: lme with list(subject = pdDiag(~ time)), nlme 3.1."""
    said = [69, 73, 77, 71, 78, 78, 63, 64, 64, 85, 95, 94, 65, 58, 73, 61, 62, 61,
            75, 62, 62, 65, 77, 66, 55, 56, 62, 76, 84, 80, 64, 71, 77, 71, 66, 64]  # fmt: skip
    times = [0.1, 0.2, 0.5] * 12
    found = fit_mixed(said, [[1.0, time] for time in times], [place // 3 for place in range(36)], times)

    assert found is not None and (found.covariance, found.tried) == (
        "intercept_and_slope_apart",
        ("intercept_and_slope",),
    )
    assert (*found.fixed, *found.se) == pytest.approx((68.282051, 6.858974, 2.830621, 5.089135), rel=1e-4)
    assert found.log_likelihood == pytest.approx(-117.065323, abs=1e-6)


@pytest.mark.parametrize("values", [[1.0, 1.0, 1.0, 1.0], [1.0, 2.0, 3.0, 4.0]])
def test_where_nobody_differs_from_chance_none_converges_and_none_is_given(values: list[float]) -> None:
    """Equal values; and one answer a person, which tells nothing of the person."""
    persons = [1, 1, 2, 2] if values[0] == values[1] else [1, 2, 3, 4]
    assert fit_mixed(values, [[1.0]] * 4, persons, [0.0, 1.0, 0.0, 1.0]) is None


class Ends:
    """A model whose optimizer ends as it is told."""

    def __init__(self, ends: Callable[[], None], **fit: object) -> None:
        self.ends, self.asked = ends, dict[str, object]()
        good = {"converged": True, "cov_re": np.diag([2.0, 3e-6]), "scale": 2.0, "bse_fe": [0.5, 0.1]}
        self.found = SimpleNamespace(**{**good, **fit})

    def fit(self, **asked: object) -> SimpleNamespace:
        self.asked = asked
        self.ends()
        return self.found


def quietly() -> None:
    """Nothing to say."""


def warning() -> None:
    warnings.warn("the Hessian is not positive definite", UserWarning, stacklevel=1)


def singular() -> None:
    raise np.linalg.LinAlgError


def test_a_fit_that_converged_by_restricted_likelihood_is_taken() -> None:
    model = Ends(quietly)
    assert _converged(model, "free") is model.found
    assert model.asked == {"reml": True, "free": "free", "method": "bfgs", "gtol": 1e-7}


@pytest.mark.parametrize(
    "model",
    [
        Ends(quietly, converged=False),
        Ends(quietly, cov_re=np.diag([2.0, 2e-6])),
        Ends(quietly, bse_fe=[0.5, 0.0]),
        Ends(quietly, bse_fe=[0.5, float("nan")]),
        Ends(warning),
        Ends(singular),
    ],
    ids=["not converged", "on the edge", "no error", "no number", "warned", "singular"],
)
def test_whatever_the_optimizer_says_a_doubt_is_a_no(model: Ends) -> None:
    assert _converged(model, None) is None
