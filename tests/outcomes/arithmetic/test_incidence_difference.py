"""The difference of two incidences at a time, against R's influence by person, and where there is none."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.outcomes.arithmetic.incidence import aalen_johansen
from server.outcomes.arithmetic.incidence_difference import incidence_difference
from server.outcomes.arithmetic.spans import Span
from tests.outcomes.arithmetic.sets import mgus2_late, place_at, spans, spans_of
from tests.outcomes.arithmetic.test_beside_r import by_r

# m <- mgus2; m$e and m$v as in outcomes' check set; m$p <- (seq_len(nrow(m))+1)%/%2; m$g <- seq_len(nrow(m))%%2
# f <- survfit(Surv(e,v)~g, m, id=seq_len(nrow(m)), cluster=p, influence=TRUE); A, B <- f$influence.pstate[[1]], [[2]] at 120 and 240
# sqrt(sum((B-A)^2)), R 4.2 with survival 3.5; late: the same with entry, in those with e > entry
MGUS2 = {120: (-0.00951583811404, 0.0133496138479), 240: (0.000231181503393, 0.0196954031721)}
LATE = {120: (-0.0206772183183, 0.0179532445951), 240: (-0.0447914796122, 0.0234094449637)}
IN_R = (
    "{m <- read('mgus2.csv'); n <- nrow(m); m$v <- factor(m$status); m$p <- (seq_len(n)+1)%/%2; m$g <- seq_len(n)%%2;"
    "f <- survfit(Surv(time,v)~g, m, id=seq_len(n), cluster=p, influence=TRUE);"
    "at <- function(k) max(which(f[k,]$time <= 120));"
    "sqrt(sum((f$influence.pstate[[2]][,at(2),2]-f$influence.pstate[[1]][,at(1),2])^2))}"
)
NORMAL = 1.9599639845400545


def halves(known: list[Span]) -> tuple[list[Span], list[Span]]:
    """Every second one, each two neighbours being one person: first those of even, then those of odd number as R counts."""
    paired = [span._replace(person=str(place // 2)) for place, span in enumerate(known)]
    return paired[1::2], paired[::2]


@pytest.mark.parametrize(
    ("known", "expected"), [(spans_of("mgus2.csv"), MGUS2), (mgus2_late(), LATE)], ids=["mgus2", "late"]
)
def test_the_difference_and_its_error_are_those_of_r(
    known: list[Span], expected: dict[int, tuple[float, float]]
) -> None:
    found = {time: incidence_difference(*halves(known), 1, time) for time in expected}
    assert {time: (each.value, (each.upper - each.lower) / 2 / NORMAL) for time, each in found.items() if each} == {
        time: pytest.approx(numbers) for time, numbers in expected.items()
    }


def test_mgus2_beside_r() -> None:
    found = incidence_difference(*halves(spans_of("mgus2.csv")), 1, 120)
    assert found is not None
    assert [(found.upper - found.lower) / 2 / NORMAL] == pytest.approx(by_r(IN_R))


@given(first=st.lists(spans(), min_size=1, max_size=12), time=st.integers(1, 24))
def test_against_nobody_it_is_the_incidence_with_the_error_of_its_curve(first: list[Span], time: int) -> None:
    steps = [step for step in aalen_johansen(first, 1) if step.time <= time]
    found = incidence_difference([], first, 1, time)
    if found is None or not steps or steps[-1].se is None:
        assert found is None or steps[-1].incidence in (0, 1)
    else:
        assert found.value == pytest.approx(steps[-1].incidence)
        assert (found.upper - found.lower) / 2 / NORMAL == pytest.approx(steps[-1].se)


@pytest.mark.parametrize("known", [spans_of("mgus2.csv"), mgus2_late()], ids=["mgus2", "late"])
def test_between_strangers_the_squares_of_both_errors_add_up(known: list[Span]) -> None:
    first, second = known[:400], known[400:]
    found = incidence_difference(first, second, 1, 200)
    one, other = (aalen_johansen(each, 1) for each in (first, second))
    before, after = (curve[place_at(curve, 200)] for curve in (one, other))
    assert found is not None and before.se and after.se
    assert found.value == pytest.approx(after.incidence - before.incidence)
    assert (found.upper - found.lower) / 2 / NORMAL == pytest.approx((before.se**2 + after.se**2) ** 0.5)


def test_where_nothing_happened_there_is_no_limit_to_tell() -> None:
    quiet = [Span(5, 0, person="a"), Span(6, 0, person="b")]
    assert incidence_difference(quiet, quiet, 1, 4) is None
    assert incidence_difference([], [], 1, 4) is None


def test_of_one_person_with_all_spans_nothing_is_known_of_others() -> None:
    """No weight of theirs moves the curve, and rounding alone is no error."""
    alone = [Span(time, status, person="a") for time, status in ((3, 1), (5, 0), (7, 2), (9, 1), (11, 1), (13, 0))]
    assert [(step.incidence > 0, step.se) for step in aalen_johansen(alone, 1)] == [(True, None)] * 4
    assert [incidence_difference([], alone, 1, time) for time in (4, 8, 10, 12)] == [None] * 4


def test_somebody_with_both_moves_both() -> None:
    known = [Span(3, 1), Span(5, 0), Span(8, 0), Span(9, 1)]
    strangers = incidence_difference(known, [*known, Span(2, 1)], 1, 6)
    same = [span._replace(person=str(place)) for place, span in enumerate(known)]
    related = incidence_difference(same, [*same, Span(2, 1)], 1, 6)
    assert strangers is not None and related is not None
    assert related.value == strangers.value and related.upper < strangers.upper
