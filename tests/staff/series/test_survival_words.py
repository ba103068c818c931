"""What is said of implant survival where all had the event, and where hardly anybody or nobody is watched."""

from datetime import timedelta

from server.outcomes.series.endpoints import Endpoint
from server.outcomes.series.followed import Followed
from server.outcomes.series.survival import Survival, survival_of
from server.staff.series.survival_figure import survival_figure
from server.staff.series.survival_words import follow_up, rate, watched_from
from tests.outcomes.series.survival_case import SURGERY, TODAY, later, many


def found_of(shoulders: list[Followed]) -> Survival:
    return survival_of(shoulders, Endpoint(), TODAY)


def limits_of(shoulders: list[Followed]) -> set[str]:
    found = found_of(shoulders)
    assert found.drawn is not None
    return {panel.answer[1] for panel in survival_figure(found, found.drawn, "How long?").panels}


def test_no_limits_are_told_apart_where_all_and_where_none_had_the_event() -> None:
    revised = many(30, later=(later(SURGERY + timedelta(days=100)),))
    assert limits_of(revised) == {"no limits, since all had the event"}
    assert limits_of(many(30)) == {"no limits, since none had the event"}


def test_of_nobody_nothing_is_said_to_be_watched() -> None:
    assert watched_from(found_of([]), "") == "Nobody is watched." and rate(found_of([])) == ""


def test_of_fewer_than_ten_neither_rate_nor_median_is_told() -> None:
    few, ten = found_of(many(9)), found_of(many(10))
    assert rate(few) == "0 revised in 102 component-years; fewer than ten are watched, so no rate is given."
    assert "at most" in rate(ten) and "median 11.3 years" in follow_up(ten)
    assert follow_up(few).endswith("too few for a median of follow-up.")
