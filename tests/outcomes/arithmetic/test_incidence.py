"""Cumulative incidence with competing events, by published sets. Values of R: survival 3.5, cmprsk 2.2-11, KMsurv 0.1-5, R 4.2."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.outcomes.arithmetic.incidence import aalen_johansen, incidence_without_errors
from server.outcomes.arithmetic.spans import Span
from server.outcomes.arithmetic.survival import kaplan_meier, log_log_limits
from tests.outcomes.arithmetic.sets import groups_of, mgus2_late, place_at, spans, spans_of


@pytest.mark.parametrize(
    ("cause", "values"),
    [(1, (0.237986, 0.074074, 0.355556)), (2, (0.212815, 0.148148, 0.266667))],
)
def test_bmt_incidence_of_relapse_and_of_death(cause: int, values: tuple[float, ...]) -> None:
    """cuminc(t2, ifelse(d2==1,1,ifelse(d1==1,2,0)), group) at 365"""
    groups = groups_of("bmt.csv")
    curves = [aalen_johansen(groups[name], cause) for name in ("1", "2", "3")]
    assert [curve[place_at(curve, 365)].incidence for curve in curves] == pytest.approx(values, abs=6e-7)


@pytest.mark.parametrize(
    ("cause", "incidences", "errors"),
    [
        (1, (0.0285714, 0.2049261, 0.2728390), (0.0281603, 0.0691063, 0.0780907)),
        (2, (0.0285714, 0.1757917, 0.3407601), (0.0281603, 0.0652734, 0.0841519)),
    ],
)
def test_scrucca_2007_with_ties_and_events_at_zero(
    cause: int, incidences: tuple[float, ...], errors: tuple[float, ...]
) -> None:
    """cuminc(ftime, status) and survfit(Surv(ftime, factor(status))~1) at 0, 5 and 12; doi 10.1038/sj.bmt.1705727"""
    curve = aalen_johansen(spans_of("scrucca.csv"), cause)
    steps = [curve[place_at(curve, time)] for time in (0, 5, 12)]
    assert [step.incidence for step in steps] == pytest.approx(incidences, abs=6e-8)
    assert [step.se for step in steps] == pytest.approx(errors, abs=6e-8)


@pytest.mark.parametrize(
    ("time", "incidence", "se", "lower", "upper", "fallen"),
    [
        (120, 0.063722, 0.0067968, 0.051282, 0.077933, 0.095222),
        (240, 0.099814, 0.0097848, 0.081690, 0.120019, 0.209562),
        (360, 0.134042, 0.0201276, 0.097632, 0.176253, 0.424837),
    ],
)
def test_mgus2_incidence_of_progression(
    time: float, incidence: float, se: float, lower: float, upper: float, fallen: float
) -> None:
    """survfit(Surv(e,v)~1, conf.type="log-log"); beside it 1 - Kaplan-Meier, which is more"""
    mgus2 = spans_of("mgus2.csv")
    curve = aalen_johansen(mgus2, 1)
    step = curve[place_at(curve, time)]
    found = (step.incidence, *log_log_limits(step.incidence, step.se))
    assert found == pytest.approx((incidence, lower, upper), abs=6e-7)
    assert step.se == pytest.approx(se, abs=6e-8)
    assert 1 - kaplan_meier(mgus2)[place_at(curve, time)].survival == pytest.approx(fallen, abs=6e-7)


@pytest.mark.parametrize(
    ("time", "incidence", "se", "lower", "fallen"),
    [(120, 0.063455, 0.00878692, 0.047709, 0.095504), (240, 0.099386, 0.01124584, 0.078747, 0.209808)],
)
def test_mgus2_incidence_with_late_entry(time: float, incidence: float, se: float, lower: float, fallen: float) -> None:
    """survfit(Surv(entry,e,v)~1, id=seq_len(1146), conf.type="log-log")"""
    late = mgus2_late()
    assert len(late) == 1146
    curve = aalen_johansen(late, 1)
    step = curve[place_at(curve, time)]
    assert (step.incidence, log_log_limits(step.incidence, step.se)[0]) == pytest.approx((incidence, lower), abs=6e-7)
    assert step.se == pytest.approx(se, abs=6e-9)
    assert 1 - kaplan_meier(late)[place_at(curve, time)].survival == pytest.approx(fallen, abs=6e-7)


def test_nothing_is_said_of_the_error_where_nobody_had_the_event_or_everybody() -> None:
    assert [(step.incidence, step.se) for step in aalen_johansen([Span(1, 2), Span(2, 0)], 1)] == [(0, None)]
    of_all = aalen_johansen([Span(1 + index / 7, 1, index / 9, str(index % 4)) for index in range(9)], 1)[-1]
    assert of_all.incidence == pytest.approx(1) and of_all.se is None


@given(st.lists(spans(), min_size=1, max_size=30))
def test_the_incidences_sum_to_what_has_fallen_from_survival_without_any_event(rows: list[Span]) -> None:
    any_event = kaplan_meier([span._replace(status=min(span.status, 1)) for span in rows])
    curves = [aalen_johansen(rows, cause) for cause in (1, 2, 3)]
    together = [sum(step.incidence for step in at_once) for at_once in zip(*curves, strict=True)]
    assert together == pytest.approx([1 - step.survival for step in any_event], abs=1e-12)


def weighted_incidence(rows: list[Span], weights: dict[str, float], time: float) -> float:
    """Aalen-Johansen of cause 1 with a weight for each person, by its definition."""
    free, incidence = 1.0, 0.0
    for now in sorted({span.time for span in rows if span.status and span.time <= time}):
        at_risk = sum(weights[span.person or ""] for span in rows if span.entry < now <= span.time)
        events = dict.fromkeys(range(4), 0.0)
        for span in rows:
            events[span.status] += weights[span.person or ""] * (span.time == now)
        incidence += free * events[1] / at_risk
        free *= 1 - (events[1] + events[2] + events[3]) / at_risk
    return incidence


@given(st.lists(spans(), min_size=2, max_size=12))
def test_the_error_is_the_slope_by_each_persons_weight(rows: list[Span]) -> None:
    """R 4.2 ignores `cluster` where events compete, so the definition itself is the witness."""
    rows = [span._replace(person=span.person or f"alone {index}") for index, span in enumerate(rows)]
    even = dict.fromkeys((span.person or "" for span in rows), 1.0)

    def slope(person: str, time: float) -> float:
        up, down = (weighted_incidence(rows, {**even, person: 1 + by}, time) for by in (1e-5, -1e-5))
        return (up - down) / 2e-5

    curve = aalen_johansen(rows, 1)
    slopes = [sum(slope(person, step.time) ** 2 for person in even) ** 0.5 for step in curve]
    assert [step.se or 0 for step in curve] == pytest.approx(slopes, abs=1e-7)


@given(st.lists(spans(), min_size=1, max_size=20), st.integers(1, 3))
def test_without_errors_the_incidence_is_the_same(of: list[Span], cause: int) -> None:
    full = [(step.time, step.incidence) for step in aalen_johansen(of, cause)]
    quick = incidence_without_errors(of, cause)
    assert [time for time, _level in quick] == [time for time, _level in full]
    assert [level for _time, level in quick] == pytest.approx([level for _time, level in full])
