"""Least squares with limits by person, against R's lm and the sandwich by its definition, and where nothing can be told."""

import pytest

from server.outcomes.arithmetic.least_squares import Estimate, Fit, least_squares
from server.outcomes.arithmetic.table import read_table
from tests.outcomes.arithmetic.sets import DATA
from tests.outcomes.arithmetic.test_beside_r import by_r

# w <- read.csv("chickweight.csv"); m <- lm(I(after-before) ~ factor(diet) + I(before-mean(before)), w); X <- model.matrix(m)
# u <- rowsum(X*resid(m), w$person); B <- solve(crossprod(X)); g <- 23; V <- B %*% crossprod(u) %*% B * g/(g-1)*(45-1)/(45-5)
# cbind(coef(m), coef(m)-qt(.975,g-1)*sqrt(diag(V)), coef(m)+qt(.975,g-1)*sqrt(diag(V))), R 4.2
ADJUSTED = [
    (142.5761978064, 118.5125677083, 166.63982790455),
    (26.6993870090, -26.5290708393, 79.92784485729),
    (83.4878638775, 45.5321677847, 121.44355997035),
    (52.7998433162, 16.4562850593, 89.14340157310),
    (-12.8847686852, -33.6576340078, 7.88809663737),
]
# The same without the last term.
PLAIN = [
    (136.1875, 115.3977139413, 156.9772860587),
    (37.8125, -14.1108032052, 89.7358032052),
    (93.3125, 60.1686603743, 126.4563396257),
    (61.4791666667, 24.4732328065, 98.4851005269),
]
ROBUST = (
    "{w <- read('chickweight.csv'); m <- lm(I(after-before)~factor(diet)+I(before-mean(before)), w); X <- model.matrix(m);"
    "u <- rowsum(X*resid(m), w$person); B <- solve(crossprod(X)); V <- B%*%crossprod(u)%*%B*23/22*44/40;"
    "c(coef(m), sqrt(diag(V)))}"
)


def chicks() -> list[tuple[str, float, float, str]]:
    """Diet, weight before and after, and the pair they are taken for: as if each two chicks were one person's shoulders."""
    text = (DATA / "chickweight.csv").read_text(encoding="utf-8")
    rows = read_table(text, ("diet", "before", "after", "person")).rows
    return [(row["diet"], float(row["before"]), float(row["after"]), row["person"]) for _line, row in rows]


def fitted(*, adjusted: bool) -> Fit:
    found = chicks()
    middle = sum(before for _diet, before, _after, _person in found) / len(found)
    rows = [
        [1.0, *(float(diet == each) for each in "234"), *([before - middle] if adjusted else [])]
        for diet, before, _after, _person in found
    ]
    fit = least_squares(rows, [after - before for _d, before, after, _p in found], [person for *_rest, person in found])
    assert fit is not None
    return fit


def single(fit: Fit) -> list[Estimate]:
    places = range(len(fit.coefficients))
    return [fit.combined([float(place == each) for place in places]) for each in places]


def test_a_difference_adjusted_for_baseline_is_that_of_r() -> None:
    fit = fitted(adjusted=True)
    assert (fit.n, fit.persons) == (45, 23)
    assert [tuple(each) for each in single(fit)] == [pytest.approx(expected, rel=1e-9) for expected in ADJUSTED]


def test_a_plain_difference_is_that_of_r_and_of_the_means() -> None:
    fit, found = fitted(adjusted=False), chicks()
    assert [tuple(each) for each in single(fit)] == [pytest.approx(expected, rel=1e-9) for expected in PLAIN]
    means = {}
    for each in "1234":
        changes = [after - before for diet, before, after, _person in found if diet == each]
        means[each] = sum(changes) / len(changes)
    assert fit.combined([0, -1, 1, 0]).value == pytest.approx(means["3"] - means["2"])


def test_a_mean_by_person_is_that_of_r() -> None:
    # the same with ~1 and the 16 rows of diet 1
    first = [(after - before, person) for diet, before, after, person in chicks() if diet == "1"]
    fit = least_squares(
        [(1.0,)] * len(first), [change for change, _person in first], [person for _change, person in first]
    )
    assert fit is not None
    assert fit.combined([1.0]) == pytest.approx((136.1875, 112.263214642, 160.111785358))


def test_chickweight_beside_r() -> None:
    fit = fitted(adjusted=True)
    ours = [*fit.coefficients, *(fit.covariance[place][place] ** 0.5 for place in range(5))]
    assert ours == pytest.approx(by_r(ROBUST))


def test_one_shoulder_each_gives_the_limits_of_students_t() -> None:
    values = [3.0, 5.0, 4.0, 8.0]
    fit = least_squares([(1.0,)] * 4, values, ["a", "b", "c", "d"])
    assert fit is not None
    # t.test(c(3,5,4,8))$conf.int
    assert fit.combined([1.0]) == pytest.approx((5.0, 1.56256511814, 8.43743488186))


@pytest.mark.parametrize("unit", [1.0, 1e-3])
def test_two_people_have_limits_by_a_single_degree_of_freedom_at_any_scale(unit: float) -> None:
    fit = least_squares([(1.0,)] * 2, [3 * unit, 5 * unit], ["a", "b"])
    assert fit is not None
    # t.test(c(3,5))$conf.int
    assert fit.combined([1.0]) == pytest.approx((4 * unit, -8.7062047 * unit, 16.7062047 * unit))


@pytest.mark.parametrize(("from_", "by"), [(1e6, 1.0), (0.0, 1e-10), (0.0, 1e10)])
def test_a_predictor_far_from_0_or_of_another_unit_gives_the_same_line(from_: float, by: float) -> None:
    steps, outcomes, persons = [0.0, 1.0, 2.0, 3.0, 4.0], [1.0, 3.0, 2.0, 5.0, 4.0], list("abcde")
    near = least_squares([(1.0, each) for each in steps], outcomes, persons)
    far = least_squares([(1.0, from_ + by * each) for each in steps], outcomes, persons)
    assert near is not None and far is not None
    assert [value * by for value in far.combined([0.0, 1.0])] == pytest.approx(
        list(near.combined([0.0, 1.0])), rel=1e-8
    )


def test_one_alone_in_a_group_is_met_exactly_whatever_rounding_says_of_the_error() -> None:
    """Here the variance comes out just below 0."""
    rows = [(1.0, float(place == 0)) for place in range(5)]
    fit = least_squares(rows, [8.0, 5.0, 1.0, 7.0, 4.0], list("abcde"))
    assert fit is not None
    assert fit.combined([1.0, 1.0]) == pytest.approx((8.0, 8.0, 8.0), abs=1e-6)


NOTHING: dict[str, tuple[list[tuple[float, ...]], list[float], list[str]]] = {
    "nobody": ([], [], []),
    "as many rows as columns": ([(1.0, 0.0), (1.0, 1.0)], [1.0, 2.0], ["a", "b"]),
    "fewer rows than columns": ([(1.0, 0.0, 2.0), (1.0, 1.0, 1.0)], [1.0, 2.0], ["a", "b"]),
    "a column of nothing": ([(1.0, 0.0)] * 3, [1.0, 2.0, 4.0], ["a", "b", "c"]),
    "a line meets all": ([(1.0, float(n)) for n in range(5)], [0.0, 0.1, 0.2, 0.3, 0.4], list("abcde")),
    "a single person": ([(1.0,), (1.0,), (1.0,)], [1.0, 2.0, 4.0], ["a", "a", "a"]),
    "a group that is everybody": ([(1.0, 1.0)] * 4, [1.0, 2.0, 4.0, 3.0], ["a", "b", "c", "d"]),
    "nobody differs": ([(1.0,)] * 4, [7.0] * 4, ["a", "b", "c", "d"]),
    "all are zero": ([(1.0,)] * 3, [0.0] * 3, ["a", "b", "c"]),
}


@pytest.mark.parametrize("said", NOTHING)
def test_where_limits_would_claim_what_nobody_knows_there_are_none(said: str) -> None:
    assert least_squares(*NOTHING[said]) is None
