"""Implant survival of a series: published sets, the sums under the curves, and what thin or contradictory data give."""

from dataclasses import replace
from datetime import timedelta

import pytest

from server.outcomes.arithmetic.spans import Span
from server.outcomes.series.endpoints import Endpoint
from server.outcomes.series.survival import Curve, CurvePoint, Drawn, Survival, sensitivities, survival_of, top_of_scale
from tests.outcomes.arithmetic.sets import mgus2_late, spans_of
from tests.outcomes.series.survival_case import (
    SURGERY,
    TODAY,
    later,
    many,
    shoulder,
    shoulder_of,
    shoulders_of,
    years,
)  # fmt: skip

REVISION = Endpoint()


def found_of(spans: list[Span], endpoint: Endpoint = REVISION) -> Survival:
    return survival_of(shoulders_of(spans), endpoint, TODAY)


def drawn_of(found: Survival) -> Drawn:
    assert found.drawn is not None
    return found.drawn


@pytest.mark.parametrize(
    ("time", "revised", "lower", "upper"),
    [
        (70, 1 - 0.954933, 1 - 0.976026, 1 - 0.916096),
        (90, 1 - 0.882399, 1 - 0.921081, 1 - 0.826624),
        (100, 1 - 0.861153, 1 - 0.903700, 1 - 0.801978),
    ],
)
def test_rats_with_limits_by_litter(time: int, revised: float, lower: float, upper: float) -> None:
    """survfit(Surv(time,status)~1,rats,cluster=litter,robust=TRUE,conf.type="log-log")"""
    found = found_of(spans_of("rats.csv"))
    assert found.by_person
    assert found.people == 50 * len(found.watched) / 150
    assert drawn_of(found).nobody_died.at(years(time))[1:] == pytest.approx((revised, lower, upper), abs=6e-7)


@pytest.mark.parametrize(
    ("time", "as_it_was", "lower", "upper", "nobody_died"),
    [(120, 0.063722, 0.051282, 0.077933, 0.095222), (240, 0.099814, 0.081690, 0.120019, 0.209562)],
)
def test_mgus2_asked_both_ways(time: int, as_it_was: float, lower: float, upper: float, nobody_died: float) -> None:
    """survfit(Surv(e,v)~1, conf.type="log-log"), and one less Kaplan-Meier"""
    drawn = drawn_of(found_of(spans_of("mgus2.csv")))
    assert drawn.as_it_was.at(years(time))[1:] == pytest.approx((as_it_was, lower, upper), abs=6e-7)
    assert drawn.nobody_died.at(years(time)).share == pytest.approx(nobody_died, abs=6e-7)


def test_mgus2_with_late_entry() -> None:
    """survfit(Surv(entry,e,v)~1,id=seq_len(1146)) at 120 and 240"""
    drawn = drawn_of(found_of(mgus2_late()))
    found = [(drawn.as_it_was.at(years(time)).share, drawn.nobody_died.at(years(time)).share) for time in (120, 240)]
    assert found == [pytest.approx((0.063455, 0.095504), abs=6e-7), pytest.approx((0.099386, 0.209808), abs=6e-7)]


def test_who_is_watched_is_who_entered_less_who_was_revised_died_or_left_at_every_year() -> None:
    late = [span._replace(time=span.time * 60, entry=span.entry * 60) for span in mgus2_late()[:300]]
    found = found_of(late)
    standings = found.standings()
    assert found.failed_sums() == []
    assert [at.time for at in standings] == list(range(len(standings)))
    assert len(standings) > 10
    assert standings[1].watched < standings[3].watched, "late entry makes a number at risk smaller than the next"
    ten = standings[10]
    days = years(1)
    by_hand = (
        sum(span.entry * days <= 10 < span.time * days for span in late),
        sum(span.entry * days <= 10 for span in late),
        *(sum(span.time * days <= 10 and span.status == status for span in late) for status in (1, 3, 2, 0)),
    )
    assert (ten.watched, ten.entered, ten.events, ten.other_revisions, ten.died, ten.left) == by_hand


def test_a_sum_that_does_not_hold_is_named() -> None:
    found = survival_of([*many(30), shoulder(watched_from=TODAY)], REVISION, TODAY)
    assert found.failed_sums() == []
    lost = replace(found, apart=())
    twice = replace(found, watched=(*found.watched, replace(found.watched[0], end="vanished")))
    assert lost.failed_sums() == [("followed", 0.0, 31, 30)]
    assert [name for name, *_ in twice.failed_sums()] == ["followed", "ends"]


def test_a_named_reason_lets_other_revisions_compete() -> None:
    spans = [Span(400 + number * 10, 1 + 2 * (number % 2)) for number in range(20)] + [Span(2000, 0)] * 80
    found = found_of(spans, Endpoint("reason", "infection"))
    drawn = drawn_of(found)
    assert (found.ended("event"), found.ended("other_revision"), found.ended("in_place")) == (10, 10, 0)
    assert drawn.nobody_died.at(4).share == pytest.approx(0.10)
    assert drawn_of(found_of(spans)).nobody_died.at(4).share == pytest.approx(0.20)


def test_the_curve_begins_with_the_tenth_watched_and_ends_when_there_are_fewer_than_ten() -> None:
    few = [Span(365, 1, 0)] * 2 + [Span(4000, 0, 0)] * 5
    late = [Span(2000 + number, number % 2, 730) for number in range(12)]
    found = found_of(few + late)
    drawn = drawn_of(found)
    assert (drawn.start, drawn.end) == (years(730), years(2007))
    assert drawn.nobody_died.points[0] == CurvePoint(years(730), 0.0, None, None)
    assert drawn.nobody_died.points[1].time == years(2001)
    assert drawn.nobody_died.points[-1].time == years(2007)
    assert [at.time for at in found.standings()] == [years(730), 2, 3, 4, 5]


def test_fewer_than_ten_at_once_have_no_curve() -> None:
    found = found_of([Span(1000 + number, 1) for number in range(9)])
    assert (found.drawn, len(found.watched), found.ended("event")) == (None, 9, 9)
    assert found.standings() == ()
    assert {each.share for each in sensitivities(found)} == {None}


@pytest.mark.parametrize("spans", [[], [Span(900, 0)], [Span(900, 1)]])
def test_nobody_and_one_patient_have_no_curve_and_no_contradiction(spans: list[Span]) -> None:
    found = found_of(spans)
    assert (found.drawn, found.failed_sums(), found.people) == (None, [], len(spans))


def test_all_censored_have_a_curve_at_zero_without_limits_and_an_exact_upper_limit_of_the_rate() -> None:
    found = found_of([Span(3653, 0)] * 40)
    answer = drawn_of(found).nobody_died.at(10)
    assert answer == CurvePoint(0.0, 0.0, None, None)
    assert found.event_limits() == pytest.approx((0, 3.688879), abs=1e-6)
    assert found.component_years == pytest.approx(40 * years(3653))


def test_ties_at_zero_count_half_a_day_and_come_before_who_left_that_day() -> None:
    found = found_of([Span(0, 1)] * 3 + [Span(0, 2)] * 2 + [Span(1000, 0)] * 25)
    drawn = drawn_of(found)
    assert drawn.start == 0
    assert drawn.as_it_was.at(years(0.5)).share == pytest.approx(0.1)
    assert drawn.nobody_died.at(years(0.5)).share == pytest.approx(0.1)
    assert found.standing(1).died == 2


def test_where_everybody_died_nobody_is_left_and_the_curves_say_so() -> None:
    found = found_of([Span(400 + number, 2) for number in range(40)])
    drawn = drawn_of(found)
    assert (found.ended("died"), found.standing(3).watched, found.standing(3).died) == (40, 0, 40)
    assert drawn.nobody_died.points == (CurvePoint(0.0, 0.0, None, None),)
    assert drawn.as_it_was.at(drawn.end).share == 0
    assert drawn.deaths[-1][1] == pytest.approx(31 / 40)


def test_under_twenty_people_have_no_limits() -> None:
    few = [Span(500 + number, number % 2, person=str(number)) for number in range(19)]
    more = [*few, Span(600, 0, person="20")]
    assert {point.upper for point in drawn_of(found_of(few)).nobody_died.points} == {None}
    assert drawn_of(found_of(more)).nobody_died.points[-1].upper is not None


def test_two_shoulders_of_a_person_widen_the_limits() -> None:
    alone = [Span(1000 + 10 * number, number % 3 == 0) for number in range(60)]
    twice = [span._replace(person=str(number)) for number, span in enumerate(alone) for _ in range(2)]
    once = drawn_of(found_of(alone * 2)).nobody_died.at(years(1500))
    clustered = drawn_of(found_of(twice)).nobody_died.at(years(1500))
    assert clustered.share == once.share
    assert clustered.lower is not None
    assert once.lower is not None
    assert clustered.lower < once.lower


def test_the_answer_is_told_at_the_last_year_with_forty_watched() -> None:
    spans = [Span(4000, 0)] * 45 + [Span(2000, 0)] * 30
    assert drawn_of(found_of(spans)).answered_at == 10
    assert drawn_of(found_of(spans[5:])).answered_at == 10
    assert drawn_of(found_of(spans[6:])).answered_at == 5
    assert drawn_of(found_of(spans[:15])).answered_at == 10, "where nobody reaches forty, the last that there is"
    assert drawn_of(found_of([Span(200, 0)] * 15)).answered_at == years(200)


def test_full_and_thin_parts_of_a_curve_are_known() -> None:
    drawn = drawn_of(found_of([Span(1000, 0)] * 30 + [Span(3000, 0, 365)] * 30))
    assert drawn.full == ((years(365), years(1000)),)
    assert (drawn.start, drawn.end) == (0, years(3000))


def test_sensitivities_read_the_same_record_in_other_ways() -> None:
    told = [shoulder(later=(later(SURGERY + timedelta(days=900), certainty="reported"),)) for _ in range(4)]
    silent = [shoulder(operated_unrecorded=True, implant_on=SURGERY + timedelta(days=900)) for _ in range(2)]
    pair = shoulder_of(Span(3000, 1, 0), 77), shoulder_of(Span(3500, 0, 0), 77)
    found = survival_of([*many(40), *told, *silent, *pair], REVISION, TODAY)
    by_name = {each.name: each for each in sensitivities(found)}
    assert {name: (each.watched, each.events) for name, each in by_name.items()} == {
        "confirmed": (46, 1),
        "first_shoulder": (45, 5),
        "known_to_the_end": (46, 5),
        "planned_looks": (41, 0),
        "shortest": (46, 5),
        "longest": (46, 5),
        "said_counts": (48, 7),
    }
    answer = drawn_of(found).nobody_died.at(drawn_of(found).answered_at).share
    shares = {name: each.share for name, each in by_name.items()}
    assert shares["said_counts"] == pytest.approx(7 / 48)
    assert shares["known_to_the_end"] == pytest.approx(answer) == pytest.approx(5 / 46)
    assert shares["planned_looks"] == 0


def test_follow_up_is_told_by_the_reverse_estimate() -> None:
    """survfit(Surv(time, status == 0) ~ 1) on lung: median 588"""
    lung = [span._replace(person=None) for span in spans_of("lung.csv")]
    assert found_of(lung).follow_up == pytest.approx(years(588))


@pytest.mark.parametrize(("highest", "top"), [(0, 0.1), (0.04, 0.1), (0.1, 0.1), (0.101, 0.2), (0.95, 1.0), (1.0, 1.0)])
def test_both_panels_rise_to_the_same_ten(highest: float, top: float) -> None:
    drawn = drawn_of(found_of([Span(1000, 0)] * 40))
    curve = Curve((CurvePoint(0, 0, None, None), CurvePoint(1, highest / 2, 0, highest)))
    assert top_of_scale(replace(drawn, as_it_was=curve)) == pytest.approx(top)
    assert top_of_scale(replace(drawn, deaths=((0, 0), (1, highest)))) == pytest.approx(top)
