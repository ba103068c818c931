"""The same sets through R, where R and its package survival are there; the other tests hold its values as constants."""

import shutil
import subprocess

import pytest

from server.outcomes.arithmetic.incidence import aalen_johansen
from server.outcomes.arithmetic.logrank import log_rank
from server.outcomes.arithmetic.survival import kaplan_meier, robust_survival_se
from tests.outcomes.arithmetic.sets import DATA, groups_of, place_at, spans_of

R = shutil.which("Rscript")


def by_r(call: str) -> list[float]:
    """The numbers that a call prints. `x` holds the file `file` of the data sets."""
    if R is None:
        pytest.skip("R is not on this machine")
    here = subprocess.run([R, "-e", "library(survival)"], capture_output=True, text=True, check=False)
    if here.returncode:
        pytest.skip("the R package survival is not on this machine")
    read = f"library(survival); read <- function(file) read.csv(paste0('{DATA.as_posix()}/', file));"
    said = subprocess.run(
        [R, "-e", f"{read} cat(format({call}, digits=12))"], capture_output=True, text=True, check=True
    )
    return [float(word) for word in said.stdout.split()]


def test_rats_by_litter() -> None:
    fit = "summary(survfit(Surv(time,status)~1, read('rats.csv'), cluster=id, robust=TRUE), times=c(70,90,100))"
    rats = spans_of("rats.csv")
    curve, robust = kaplan_meier(rats), robust_survival_se(rats)
    places = [place_at(curve, time) for time in (70, 90, 100)]
    ours = [*(curve[place].survival for place in places), *(robust[place] for place in places)]
    assert ours == pytest.approx(by_r(f"with({fit}, c(surv, std.err))"))


def test_mgus2_incidence() -> None:
    fit = "summary(survfit(Surv(time,factor(status))~1, read('mgus2.csv')), times=c(60,120,240))"
    curve = aalen_johansen(spans_of("mgus2.csv"), 1)
    steps = [curve[place_at(curve, time)] for time in (60, 120, 240)]
    ours = [*(step.incidence for step in steps), *(step.se for step in steps)]
    assert ours == pytest.approx(by_r(f"with({fit}, c(pstate[,2], std.err[,2]))"))


def test_larynx_log_rank() -> None:
    found = log_rank(groups_of("larynx.csv"))
    assert found is not None
    names = sorted(found.expected)
    r = by_r("with(survdiff(Surv(time,status)~group, read('larynx.csv')), c(chisq, exp))")
    assert [found.chi2, *(found.expected[name] for name in names)] == pytest.approx(r)
