"""From when to when an implant is watched, how that ends, and what ends it for each endpoint."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.outcomes.series.endpoints import ENDPOINTS, Endpoint, endpoint_in, first_end, never_can
from server.outcomes.series.followed import DatedFact, Followed
from server.outcomes.series.watch import NotWatched, Reading, Watched, concerns, first_shoulders, watch
from tests.outcomes.series.followed_case import SURGERY, TODAY, answered, fact, later, row, shoulder
from tests.outcomes.series.survival_case import years

REVISION = Endpoint()
REVISED = date(2018, 3, 1)


def seen(of: Followed, endpoint: Endpoint = REVISION, **reading: Any) -> tuple[float, float, str] | str:
    found = watch(of, endpoint, TODAY, Reading(**reading))
    return found.reason if isinstance(found, NotWatched) else (found.entry, found.time, found.end)


def until(on: date, end: str, entry: date = SURGERY) -> tuple[float, float, str]:
    return years((entry - SURGERY).days), years((on - SURGERY).days), end


def test_an_implant_is_watched_from_surgery_to_the_last_that_is_known_of_it() -> None:
    assert seen(shoulder()) == until(TODAY, "in_place")
    assert seen(shoulder(implant_on=date(2020, 1, 1))) == until(date(2020, 1, 1), "known_earlier")


def test_what_was_operated_before_watching_began_enters_late() -> None:
    began = date(2017, 1, 1)
    assert seen(shoulder(watched_from=began)) == until(TODAY, "in_place", began)
    assert seen(shoulder(watched_from=began, later=(later(REVISED),))) == until(REVISED, "event", began)


@pytest.mark.parametrize(
    ("values", "reason"),
    [
        ({"later": (later(REVISED),)}, "revised_before"),
        ({"died": date(2018, 1, 1), "implant_on": date(2018, 1, 1)}, "died_before"),
        ({"implant_on": date(2018, 6, 1)}, "nothing_known"),
        ({"implant_on": None}, "nothing_known"),
    ],
)
def test_what_ended_by_the_day_watching_began_is_told_apart(values: dict[str, Any], reason: str) -> None:
    assert seen(shoulder(watched_from=date(2018, 6, 1), **values)) == reason


def test_an_event_on_the_very_day_watching_began_late_is_before_it() -> None:
    assert seen(shoulder(watched_from=REVISED, later=(later(REVISED),))) == "revised_before"


def test_a_revision_on_the_day_of_surgery_counts_half_a_day_and_nothing_known_since_then_counts_none() -> None:
    assert seen(shoulder(later=(later(SURGERY),))) == (0, years(0.5), "event")
    assert seen(shoulder(implant_on=SURGERY)) == "nothing_known"
    assert seen(shoulder(died=SURGERY, implant_on=SURGERY)) == (0, years(0.5), "died")


def test_a_revision_comes_before_a_death_on_one_day_and_before_one_that_seems_earlier() -> None:
    assert seen(shoulder(later=(later(REVISED),), died=REVISED)) == until(REVISED, "event")
    july = DatedFact(date(2018, 7, 1), date(2018, 1, 1), date(2018, 12, 31))
    both = replace(shoulder(died=date(2018, 5, 5)), later=(replace(later(REVISED), day=july),))
    assert seen(both) == until(date(2018, 5, 5), "event")


def test_who_died_within_two_years_of_the_last_news_died_with_it_in_place() -> None:
    known = date(2020, 1, 1)
    assert seen(shoulder(died=date(2022, 1, 1), implant_on=known)) == until(date(2022, 1, 1), "died")
    assert seen(shoulder(died=date(2022, 1, 2), implant_on=known)) == until(known, "known_earlier")


def test_nothing_is_watched_past_the_as_of_day() -> None:
    assert seen(shoulder(implant_on=TODAY + timedelta(days=90))) == until(TODAY, "in_place")


def test_a_reoperation_of_which_only_a_source_tells_ends_the_watch_with_the_form_before() -> None:
    told = shoulder(answered(1), answered(3), operated_unrecorded=True, implant_on=date(2018, 3, 1), points={})
    assert seen(told) == "nothing_known"
    forms = {each.code: each for each in (answered(1), answered(3))}
    assert seen(replace(told, points=forms)) == until(date(2016, 3, 1), "said_operated")
    assert seen(replace(told, points=forms), said_counts=True) == until(date(2018, 3, 1), "event")
    # Later forms that say "not since I was last asked" take back nothing.
    asked_on = replace(told, points=forms, operated_said_on=date(2018, 3, 1), implant_on=date(2024, 3, 1))
    assert seen(asked_on) == until(date(2016, 3, 1), "said_operated")


def test_what_the_patient_alone_said_is_no_event_where_only_what_is_confirmed_counts() -> None:
    said = shoulder(later=(later(REVISED, certainty="reported"),))
    assert seen(said) == until(REVISED, "event")
    assert seen(said, confirmed=True) == until(REVISED, "reported")
    assert seen(shoulder(later=(later(REVISED, certainty="adjudicated"),)), confirmed=True) == until(REVISED, "event")
    dead = shoulder(died=date(2019, 1, 1), death_certain=False, implant_on=date(2018, 6, 1))
    assert seen(dead) == until(date(2019, 1, 1), "died")
    assert seen(dead, confirmed=True) == until(date(2018, 6, 1), "known_earlier")


def test_known_to_the_end_takes_who_is_not_heard_of_as_in_place() -> None:
    lost = shoulder(implant_on=date(2017, 1, 1))
    assert seen(lost, known_to_the_end=True) == until(TODAY, "in_place")
    assert seen(shoulder(died=date(2022, 1, 1), implant_on=date(2017, 1, 1)), known_to_the_end=True) == until(
        date(2022, 1, 1), "died"
    )


def test_what_came_to_light_after_the_last_form_ends_with_that_form() -> None:
    late = shoulder(answered(1), answered(2), later=(later(REVISED),))
    assert seen(late, planned_looks=True) == until(date(2017, 3, 1), "after_last_look")
    assert seen(shoulder(answered(1), answered(4), later=(later(REVISED),)), planned_looks=True) == until(
        REVISED, "event"
    )
    assert seen(shoulder(later=(later(REVISED),)), planned_looks=True) == "nothing_known"


def test_a_day_known_to_its_year_is_read_at_both_ends() -> None:
    some_day = DatedFact(date(2018, 7, 1), date(2018, 1, 1), date(2018, 12, 31))
    surgery = DatedFact(SURGERY, date(2015, 3, 1), date(2015, 3, 31))
    inexact = replace(shoulder(later=(replace(later(REVISED), day=some_day),)), surgery=surgery)
    days = {name: seen(inexact, days=name) for name in ("as_recorded", "shortest", "longest")}
    assert days == {
        "as_recorded": (0, years((date(2018, 7, 1) - SURGERY).days), "event"),
        "shortest": (0, years((date(2018, 1, 1) - date(2015, 3, 31)).days), "event"),
        "longest": (0, years((date(2018, 12, 31) - SURGERY).days), "event"),
    }


CASES = {
    "a glenoid added": (later(REVISED, procedure="component_added", implant_type="resurfacing_with_glenoid"), "10010"),
    "an exchange of fixed components": (later(REVISED, procedure="component_exchange", implant_type="stemmed_hemi"), "11010"),
    "a reverse": (later(REVISED, procedure="reverse", implant_type="reverse"), "11110"),
    "a washout with modular exchange": (later(REVISED, procedure="modular_exchange", implant_type="unknown"), "11010"),
    "an infection": (later(REVISED, procedure="component_removed", implant_type="none", reason="infection"), "11011"),
    "a washout": (later(REVISED, "other", procedure="washout", implant_type=None, reason="infection"), "...1."),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_each_endpoint_is_met_by_what_its_name_says(name: str) -> None:
    """1: the endpoint; 0: another revision, which competes; a dot: the watch goes on."""
    operated, expected = CASES[name]
    found = ""
    for endpoint in ENDPOINTS:
        end = first_end(shoulder(later=(operated,)), Endpoint(endpoint, "infection" if endpoint == "reason" else ""))
        found += "." if end is None else str(int(end[1]))
    assert found == expected


def test_another_revision_competes_and_ends_the_watch() -> None:
    exchanged = shoulder(later=(later(REVISED, reason="instability"), later(date(2020, 1, 1), reason="infection")))
    assert seen(exchanged, Endpoint("reason", "infection")) == until(REVISED, "other_revision")
    assert seen(exchanged, Endpoint("reason", "instability")) == until(REVISED, "event")


def test_an_exchange_in_two_stages_is_one_revision_on_the_day_of_the_first() -> None:
    first = later(REVISED, procedure="spacer", implant_type="spacer", stage="first_of_two")
    second = later(date(2018, 9, 1), "second_stage", procedure="reverse", implant_type="reverse", exchanges=True)
    assert seen(shoulder(later=(first, second)), Endpoint("to_reverse")) == until(REVISED, "event")
    assert seen(shoulder(later=(first,)), Endpoint("to_reverse")) == until(REVISED, "other_revision")
    assert seen(shoulder(later=(second,))) == until(date(2018, 9, 1), "event")


@pytest.mark.parametrize(
    ("values", "endpoint", "reason"),
    [
        ({"procedure": "cuff_repair", "implant_type": "not_recorded"}, "revision", "no_implant"),
        ({"procedure": "not_recorded", "implant_type": "none"}, "reoperation", "no_implant"),
        ({"procedure": "arthrodesis", "implant_type": "not_recorded"}, "revision", "no_implant"),
        ({"procedure": "reverse", "implant_type": "reverse"}, "to_reverse", "already_reverse"),
        ({"procedure": "reverse", "implant_type": "reverse"}, "revision", None),
        ({"procedure": "not_recorded", "implant_type": "not_recorded"}, "revision", None),
    ],
)
def test_who_cannot_come_to_an_endpoint_is_told_apart(
    values: dict[str, Any], endpoint: str, reason: str | None
) -> None:
    assert never_can(row(**values), Endpoint(endpoint)) == reason
    assert seen(shoulder(**values), Endpoint(endpoint)) == (reason or until(TODAY, "in_place"))


def test_of_each_person_the_first_shoulder_is_the_one_operated_first() -> None:
    second = shoulder(patient_id=7, surgery_on=date(2019, 1, 1), side="left")
    first = shoulder(patient_id=7, surgery_on=date(2018, 1, 1), side="right")
    other = shoulder(surgery_on=date(2020, 1, 1))
    assert first_shoulders([second, other, first]) == [first, other]


def test_an_address_names_an_endpoint_or_is_said_not_to() -> None:
    assert endpoint_in({}) == (Endpoint(), ())
    assert endpoint_in({"end": "exchange", "reason": "infection"}) == (Endpoint("exchange"), ())
    assert endpoint_in({"end": "reason", "reason": "infection"}) == (Endpoint("reason", "infection"), ())
    assert endpoint_in({"end": "reason"}) == (Endpoint(), ("reason",))
    assert endpoint_in({"end": "reason", "reason": "bad luck"}) == (Endpoint(), ("bad luck",))
    assert endpoint_in({"end": "death"}) == (Endpoint(), ("death",))


def test_a_watch_is_a_span_of_its_person() -> None:
    found = watch(shoulder(patient_id=7, later=(later(REVISED),)), REVISION, TODAY, Reading())
    assert isinstance(found, Watched)
    assert found.span == (years((REVISED - SURGERY).days), 1, 0, "7")


@st.composite
def shoulders(draw: st.DrawFn) -> Followed:
    """Anything that a record can tell: days known and not, revisions said and confirmed, deaths, forms, silence."""

    def some_day() -> DatedFact:
        first = SURGERY + timedelta(days=draw(st.integers(0, 3000)))
        spread = draw(st.sampled_from([0, 0, 30, 364]))
        return DatedFact(first + timedelta(days=spread // 2), first, first + timedelta(days=spread))

    operations = [
        replace(later(SURGERY, draw(st.sampled_from(["revision", "other"])), certainty=certainty), day=some_day())
        for certainty in draw(st.lists(st.sampled_from(["reported", "confirmed", None]), max_size=2))
    ]
    forms = {each.code: each for each in map(answered, draw(st.sets(st.integers(1, 9), max_size=3)))}
    return replace(
        shoulder(operated_unrecorded=draw(st.booleans()), death_certain=draw(st.booleans())),
        surgery=replace(fact(SURGERY), last=SURGERY + timedelta(days=draw(st.sampled_from([0, 30])))),
        watched_from=SURGERY + timedelta(days=draw(st.sampled_from([0, 800]))),
        points=forms,
        later=tuple(operations),
        died=draw(st.sampled_from([None, some_day()])),
        implant_on=draw(st.sampled_from([None, TODAY, date(2018, 1, 1)])),
    )


READINGS = (
    {"confirmed": True},
    {"planned_looks": True},
    {"days": "shortest"},
    {"days": "longest"},
    {"said_counts": True},
)


@given(shoulders(), st.sampled_from(READINGS))
def test_a_reading_that_does_not_concern_a_shoulder_tells_nothing_else_of_it(
    of: Followed, reading: dict[str, Any]
) -> None:
    assert concerns(of, Reading(**reading)) or seen(of, **reading) == seen(of)
    assert concerns(of, Reading(known_to_the_end=True))
