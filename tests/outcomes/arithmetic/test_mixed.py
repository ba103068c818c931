"""A mixed model gives what nlme gives, names the covariance that converged, and says so where none does."""

import csv
import shutil
import subprocess
from random import Random

import pytest

from server.outcomes.arithmetic.mixed import COVARIANCES, fit_mixed
from tests.outcomes.arithmetic.sets import DATA


def orthodont() -> tuple[list[float], list[list[float]], list[str], list[float]]:
    with (DATA / "orthodont.csv").open(encoding="utf-8", newline="") as written:
        rows = list(csv.DictReader(written, strict=True))
    ages = [float(row["age"]) for row in rows]
    return [float(row["distance"]) for row in rows], [[1, age] for age in ages], [row["subject"] for row in rows], ages


def test_a_random_intercept_against_nlme_orthodont() -> None:
    """lme(distance ~ age, random = ~ 1 | Subject, method = "REML"), age uncentred."""
    found = fit_mixed(*orthodont(), covariances=("intercept",))

    assert found is not None
    assert found.fixed == pytest.approx((16.761111, 0.660185), abs=5e-7)
    assert (*found.sds, found.residual_sd) == pytest.approx((2.114724, 1.431592), abs=6e-7)
    assert found.log_likelihood == pytest.approx(-223.501258, abs=5e-7)


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

    assert found is not None and (found.covariance, found.tried) == (COVARIANCES[0], ())
    assert len(found.sds) == 2


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
    assert found.tried == COVARIANCES[:2] and found.fixed[1] == pytest.approx(1, abs=1e-6)


@pytest.mark.parametrize("values", [[1.0, 1.0, 1.0, 1.0], [1.0, 2.0, 3.0, 4.0]])
def test_where_nobody_differs_from_chance_none_converges_and_none_is_given(values: list[float]) -> None:
    """Equal values; and one answer a person, which tells nothing of the person."""
    persons = [1, 1, 2, 2] if values[0] == values[1] else [1, 2, 3, 4]
    assert fit_mixed(values, [[1.0]] * 4, persons, [0.0, 1.0, 0.0, 1.0]) is None
