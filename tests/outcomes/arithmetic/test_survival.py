"""Kaplan-Meier with its errors, limits and median, by published sets. Values of R: survival 3.5, KMsurv 0.1-5, R 4.2."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.outcomes.arithmetic.spans import RiskSet, Span, moments, several_spans
from server.outcomes.arithmetic.survival import (
    follow_up_median,
    kaplan_meier,
    log_log_limits,
    median_time,
    robust_survival_se,
)
from tests.outcomes.arithmetic.sets import MERCAPTOPURINE, PLACEBO, groups_of, place_at, spans, spans_of

FREIREICH = [
    (6, 21, 3, 0.857143, 0.076360, 0.6197, 0.9516),
    (7, 17, 1, 0.806723, 0.086935, 0.5631, 0.9228),
    (10, 15, 1, 0.752941, 0.096350, 0.5032, 0.8894),
    (13, 12, 1, 0.690196, 0.106815, 0.4316, 0.8491),
    (16, 11, 1, 0.627451, 0.114054, 0.3675, 0.8049),
    (22, 7, 1, 0.537815, 0.128234, 0.2678, 0.7468),
    (23, 6, 1, 0.448179, 0.134591, 0.1881, 0.6801),
]


def test_freireich_1963_mercaptopurine() -> None:
    steps = kaplan_meier(MERCAPTOPURINE)
    assert [(step.time, step.at_risk, step.events) for step in steps] == [row[:3] for row in FREIREICH]
    assert [(step.survival, step.se) for step in steps] == [pytest.approx(row[3:5], abs=6e-7) for row in FREIREICH]
    limits = [log_log_limits(step.survival, step.se) for step in steps]
    assert limits == [pytest.approx(row[5:], abs=6e-5) for row in FREIREICH]
    assert median_time(steps) == 23


def test_freireich_1963_placebo() -> None:
    steps = kaplan_meier(PLACEBO)
    printed = [0.9048, 0.8095, 0.7619, 0.6667, 0.5714, 0.3810, 0.2857, 0.1905, 0.1429, 0.0952, 0.0476, 0]
    assert [step.survival for step in steps] == pytest.approx(printed, abs=6e-5)
    assert median_time(steps) == 8
    assert steps[-1].se is None and log_log_limits(0, None) == (None, None)


@pytest.mark.parametrize(
    ("gender", "survival", "se", "lower", "upper"),
    [("1", 0.804531, 0.072170, 0.613782, 0.907636), ("2", 0.864933, 0.042189, 0.755463, 0.927667)],
)
def test_channing_late_entry(gender: str, survival: float, se: float, lower: float, upper: float) -> None:
    """survfit(Surv(ageentry,age,death)~1, subset(channing,age>ageentry&gender==g), start.time=816, conf.type="log-log") at 900"""
    steps = kaplan_meier([span for span in groups_of("channing.csv")[gender] if span.time >= 816])
    step = steps[place_at(steps, 900)]
    found = (step.survival, step.se, *log_log_limits(step.survival, step.se))
    assert found == pytest.approx((survival, se, lower, upper), abs=6e-7)


@pytest.mark.parametrize(
    ("time", "survival", "robust", "naive", "lower", "upper"),
    [
        (70, 0.954933, 0.0144253, 0.0122248, 0.916096, 0.976026),
        (90, 0.882399, 0.0236545, 0.0199961, 0.826624, 0.921081),
        (100, 0.861153, 0.0255824, 0.0221628, 0.801978, 0.903700),
    ],
)
def test_rats_clustered_by_litter(
    time: float, survival: float, robust: float, naive: float, lower: float, upper: float
) -> None:
    """survfit(Surv(time,status)~1,rats,cluster=litter,robust=TRUE,conf.type="log-log")"""
    rats = spans_of("rats.csv")
    steps = kaplan_meier(rats)
    index = place_at(steps, time)
    step, se = steps[index], robust_survival_se(rats)[index]
    assert (step.survival, *log_log_limits(step.survival, se)) == pytest.approx((survival, lower, upper), abs=6e-7)
    assert (se, step.se) == pytest.approx((robust, naive), abs=6e-8)


def test_lung_follow_up() -> None:
    """survfit(Surv(time,status==1)~1,lung): the reverse Kaplan-Meier median"""
    assert follow_up_median(spans_of("lung.csv")) == 588


def test_an_entry_tie() -> None:
    """survfit(Surv(c(0,0,2),c(2,4,5),c(1,1,1))~1): who enters at 2 is not at risk of the event at 2"""
    steps = kaplan_meier([Span(2, 1, 0), Span(4, 1, 0), Span(5, 1, 2)])
    assert [(step.at_risk, step.survival) for step in steps] == [(2, 0.5), (2, 0.25), (1, 0)]


@pytest.mark.parametrize(
    ("statuses", "median"),
    [((1, 1, 1, 1), 2.5), ((1, 1, 0, 1), 3), ((1, 1, 2, 1), 3), ((1, 1, 0, 0), 2), ((1, 0, 0, 0), None)],
)
def test_a_level_median_is_the_middle_of_the_level_part(statuses: tuple[int, ...], median: float | None) -> None:
    """survfit(Surv(1:4, statuses==1)~1): 2.5, 3, 3, 2, NA"""
    assert median_time(kaplan_meier([Span(time, status) for time, status in enumerate(statuses, 1)])) == median


def test_a_competing_event_censors_and_makes_a_step_of_its_own() -> None:
    steps = kaplan_meier([Span(1, 2), Span(2, 1), Span(3, 0)])
    assert [(step.time, step.events, step.survival, step.se) for step in steps[:1]] == [(1, 0, 1, None)]
    assert steps[1].survival == 0.5


def test_at_1_and_at_0_the_curve_has_no_error_and_no_limits() -> None:
    """Of two at risk one has the event: (1/2)(1/2) / 2 is the variance either way."""
    rows = [Span(1, 2), Span(2, 1), Span(3, 1)]
    assert (
        [step.se for step in kaplan_meier(rows)] == robust_survival_se(rows) == [None, pytest.approx(0.125**0.5), None]
    )
    assert {log_log_limits(share, 0.1) for share in (0, 1)} == {(None, None)}
    assert {log_log_limits(0.5, se) for se in (None, 0.0)} == {(None, None)}


def test_two_shoulders_that_end_alike_count_as_one_person() -> None:
    """Each of 30 people twice: the robust error is that of the 30, Greenwood's that of 60."""
    once = [Span(time, time % 3 > 0, person=str(time)) for time in range(1, 31)]
    twice, alone = robust_survival_se([*once, *once]), kaplan_meier(once)
    assert twice[:-1] == pytest.approx([step.se for step in alone[:-1]])
    assert len(alone) == 20


def test_spans_without_a_name_are_of_a_person_each() -> None:
    named = [Span(1, 1, person="a"), Span(2, 1, person="b")]
    assert (several_spans([Span(1, 1), Span(1, 1)]), several_spans(named)) == (False, False)
    assert several_spans([*named, Span(3, 0, person="a")]) is True


@given(st.lists(spans(), min_size=1, max_size=30))
def test_survival_never_rises_and_the_risk_set_is_whom_one_counts(rows: list[Span]) -> None:
    steps = kaplan_meier(rows)
    levels = [1.0, *(step.survival for step in steps)]
    assert levels == sorted(levels, reverse=True) and levels[-1] >= 0
    counted = [sum(span.entry < step.time <= span.time for span in rows) for step in steps]
    assert [step.at_risk for step in steps] == counted == [RiskSet(rows).at(step.time) for step in steps]
    assert sum(moment.any_event for moment in moments(rows)) == sum(span.status > 0 for span in rows)


def weighted_survival(rows: list[Span], weights: dict[str, float], time: float) -> float:
    """Kaplan-Meier with a weight for each person, by its definition."""
    survival = 1.0
    for now in sorted({span.time for span in rows if span.status == 1 and span.time <= time}):
        at_risk = sum(weights[span.person or ""] for span in rows if span.entry < now <= span.time)
        events = sum(weights[span.person or ""] for span in rows if span.time == now and span.status == 1)
        survival *= 1 - events / at_risk
    return survival


@given(st.lists(spans(), min_size=2, max_size=12))
def test_the_robust_error_is_the_slope_by_each_persons_weight(rows: list[Span]) -> None:
    rows = [span._replace(person=span.person or f"alone {index}") for index, span in enumerate(rows)]
    even = dict.fromkeys((span.person or "" for span in rows), 1.0)

    def slope(person: str, time: float) -> float:
        up, down = (weighted_survival(rows, {**even, person: 1 + by}, time) for by in (1e-5, -1e-5))
        return (up - down) / 2e-5

    slopes = [sum(slope(person, step.time) ** 2 for person in even) ** 0.5 for step in kaplan_meier(rows)]
    assert [se or 0 for se in robust_survival_se(rows)] == pytest.approx(slopes, abs=1e-7)
