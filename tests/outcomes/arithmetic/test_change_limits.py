"""Limits of a mean change, an effect size and a response mean."""

import shutil
import subprocess
from math import sqrt

import pytest

from server.outcomes.arithmetic.paired import ChangeLimits, Pair, change_document, change_limits, paired_change
from server.outcomes.arithmetic.student import noncentrality_limits, t_quantile

# R's `sleep`: hours gained with either of two drugs, ten people (Cushny and Peebles 1905; Student, Biometrika 1908).
FIRST = (0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0)
SECOND = (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4)
SLEEP: list[Pair] = list(zip(FIRST, SECOND, strict=True))
NONE = ChangeLimits()


def limits_of(pairs: list[Pair]) -> ChangeLimits:
    return change_limits(paired_change(pairs))


def test_the_mean_change_by_the_paired_t_test_of_r() -> None:
    """t.test(extra ~ group, data = sleep, paired = TRUE) in R before 4.4 prints -2.4598858 -0.7001142, first minus second."""
    found = limits_of(SLEEP)
    assert (found.mean_change_lower, found.mean_change_upper) == pytest.approx((0.7001142, 2.4598858), abs=5e-8)


def test_the_two_sizes_by_the_noncentral_t_of_r() -> None:
    """In R 4.2, d the differences, f <- function(p) uniroot(function(x) pt(mean(d)/sd(d)*sqrt(10), 9, x) - p, c(-20, 20), tol=1e-12)$root:
    c(f(.975), f(.025))/sqrt(10), and that times sd(d)/sd(extra of group 1)."""
    found = limits_of(SLEEP)
    assert (found.srm_lower, found.srm_upper) == pytest.approx((0.41462776, 2.11801651), abs=5e-9)
    assert (found.effect_size_lower, found.effect_size_upper) == pytest.approx((0.28506848, 1.45619714), abs=5e-9)


def test_students_t_by_qt_of_r() -> None:
    """qt(.975, c(1, 2, 9, 30, 1e5))."""
    found = [t_quantile(0.975, df) for df in (1, 2, 9, 30, 100_000)]
    assert found == pytest.approx(
        [12.706204736175, 4.302652729749, 2.262157162798, 2.042272456301, 1.959987707535], abs=1e-12
    )


@pytest.mark.parametrize(
    ("t", "df", "limits"),
    [
        (25, 4, (8.5559888436, 41.8243229895)),
        (25, 40, (19.1792342073, 30.7754566259)),
        (-4.0621277, 1, (-9.3766964645, 0.7601753526)),
    ],
)
def test_the_noncentral_t_by_its_integral(t: float, df: int, limits: tuple[float, float]) -> None:
    """R 4.2, uniroot of integrate(function(s) pnorm(t*s - limit) * 2*s*df * dchisq(s^2*df, df), 0, Inf) at .975 and .025."""
    assert noncentrality_limits(t, df) == pytest.approx(limits, abs=2e-10)


@pytest.mark.parametrize("t", [-4.0621277, 0.0, 0.3, 2.0, 25.0])
def test_r_finds_the_same_noncentral_t(t: float) -> None:
    """R's own pt loses precision far out, so that a wider tolerance stands there."""
    r = shutil.which("Rscript") or pytest.skip("R is not installed here: pt was not run beside")
    sizes = (1, 4, 40) if abs(t) < 5 else (40, 400)
    asks = [
        f"cat(sprintf('%.12g', suppressWarnings(pt({t}, {df}, {limit!r}))), '')"
        for df in sizes
        for limit in noncentrality_limits(t, df)
    ]
    said = subprocess.run([r, "--vanilla", "-e", "; ".join(asks)], capture_output=True, text=True, check=True).stdout
    assert [float(word) for word in said.split()] == pytest.approx([0.975, 0.025] * len(sizes), abs=1e-8)


def test_turning_time_round_turns_the_limits_round() -> None:
    turned = limits_of([(after, before) for before, after in SLEEP])
    found = limits_of(SLEEP)
    assert found.srm_upper is not None and found.mean_change_upper is not None
    assert (turned.srm_lower, turned.mean_change_lower) == pytest.approx((-found.srm_upper, -found.mean_change_upper))


def test_limits_that_cannot_be_formed_are_none() -> None:
    """One pair; the same change in everybody; the same score before in everybody; a response mean of 2,000."""
    assert limits_of([(3, 9)]) == NONE
    assert limits_of([(0.1, 0.3), (0.2, 0.4), (0.7, 0.9)]) == NONE
    same_before = limits_of([(5, 6), (5, 8), (5, 9)])
    assert (same_before.effect_size_lower, same_before.effect_size_upper) == (None, None)
    assert same_before.srm_lower is not None and same_before.mean_change_lower is not None
    huge = limits_of([(0, 1000), (1, 1002), (2, 1002.2)])
    assert huge.mean_change_lower is not None and huge[2:] == NONE[2:]


def test_a_response_mean_of_100_has_limits_and_one_beyond_has_none() -> None:
    """Changes 99, 100 and 101, of standard deviation 1; and each a half more."""
    assert limits_of([(0, 99), (0, 100), (0, 101)]).srm_lower is not None
    assert limits_of([(0, 99.5), (0, 100.5), (0, 101.5)]).srm_lower is None


def test_a_mean_change_of_nothing_has_limits_around_nothing() -> None:
    """Changes 1 and -1: standard deviation root 2; 12.706 x 1, and 1.96 / root 2 whatever the degrees of freedom."""
    found = limits_of([(1, 2), (3, 2)])
    assert found[:2] == pytest.approx((-12.706204736, 12.706204736))
    assert found[4:] == pytest.approx((-1.959963985 / sqrt(2), 1.959963985 / sqrt(2)))


def test_the_document_holds_the_limits_and_says_how_they_are_formed() -> None:
    rows = "".join(f"{before},{after}\n" for before, after in SLEEP)
    document = change_document(f"before,after\n{rows}")
    assert {name: document[name] for name in ChangeLimits._fields} == limits_of(SLEEP)._asdict()
    for said in ("Student's t", "noncentral t (Steiger and Fouladi 1997)", "Algina and Keselman 2003", "limits 95%"):
        assert said in document["method"]
