"""The library holds every threshold and norm that was read in a source, as printed, and nothing that was only remembered."""

import re
from collections import Counter
from pathlib import Path

import pytest

import instruments
from scoring.definition import Definition, Norm, Threshold
from scoring.library import load_library
from tests.instruments.people import PEOPLE
from tests.instruments.published import (
    ERROR,
    FROM_THE_SPREAD,
    LIMITS,
    NORMS,
    STATUS,
    THRESHOLDS,
    NormRow,
    Row,
)

ROOT = Path(next(iter(instruments.__path__)))
DEFINITIONS = load_library().definitions
# Values known from memory or from secondary copies only; none of them may be told as a fact.
REMEMBERED = [
    ("sst", "mcid", 2.4),  # Tashjian 2017
    ("sst", "mcid", 4.3),  # Tashjian 2020
    ("ases", "mcid", 20.9),
    ("ases", "mcid", 27.1),
    ("ases", "scb", 12.0),
    ("ases", "scb", 36.6),
    ("spadi", "detectable_change", 13),  # a hand-out
    ("spadi", "mcid", 20),
    ("spadi", "detectable_change", 19.7),
    ("spadi", "mcid", 20.6),  # Simovitch 2018; on which of the scales was not confirmed
    ("spadi", "scb", 45.4),
    ("dash", "mcid", 10),
    ("quickdash", "mcid", 14),
    ("oss", "mcid", 4.3),
    ("woos", "mcid", 12.3),
    ("worc", "mcid", 245.26),
    ("penn", "mcid", 11.4),
]
NO_CITATION = [("dash", 10.10), ("worc", 94), ("wosi", 82.7), ("sane", 97.7), ("ases", 98.9)]  # norms


def rows(thresholds: dict[str, list[Row]]) -> Counter[tuple[str, Row]]:
    return Counter((source, row) for source, listed in thresholds.items() for row in listed)


def held(definition: Definition, one: Threshold) -> tuple[str, Row]:
    spread = None if one.plus_minus is None else float(one.plus_minus)
    return one.citation, (definition.id, one.scale, one.kind, float(one.value), spread, one.n)


def held_norm(definition: Definition, one: Norm) -> tuple[str, NormRow]:
    return one.citation, (definition.id, one.scale, float(one.mean), None if one.sd is None else float(one.sd), one.n)


@pytest.mark.parametrize("source", THRESHOLDS)
def test_every_threshold_of_a_source_is_there_as_printed(source: str) -> None:
    found = Counter(held(definition, one) for definition in DEFINITIONS.values() for one in definition.thresholds)
    assert {key: count for key, count in found.items() if key[0] == source} == rows({source: THRESHOLDS[source]})


def test_there_is_no_threshold_that_no_source_has() -> None:
    found = {one.citation for definition in DEFINITIONS.values() for one in definition.thresholds}
    assert found == set(THRESHOLDS)


@pytest.mark.parametrize("source", THRESHOLDS)
def test_the_people_of_a_source_are_told_as_it_tells_them(source: str) -> None:
    found = {
        (
            one.population,
            one.treatment,
            one.implants,
            one.holds_hemiarthroplasty,
            one.anchor,
            one.follow_up_days,
            one.confidence_percent,
        )
        for definition in DEFINITIONS.values()
        for one in definition.thresholds
        if one.citation == source
    }
    assert found == set(PEOPLE[source])


def test_the_limits_of_a_value_are_those_printed_around_it() -> None:
    found = [
        ((definition.id, one.kind, float(one.value)), one.limits)
        for definition in DEFINITIONS.values()
        for one in definition.thresholds
        if one.limits is not None
    ]
    assert len(found) == len(LIMITS) and dict(found) == LIMITS


def test_what_came_from_the_spread_of_scores_says_so() -> None:
    found = {
        (definition.id, one.kind, float(one.value))
        for definition in DEFINITIONS.values()
        for one in definition.thresholds
        if one.distribution_based
    }
    told = {
        (definition.id, one.kind, float(one.value))
        for definition in DEFINITIONS.values()
        for one in definition.thresholds
        if one.anchor == "none: from the distribution of scores"
    }
    assert found == told == FROM_THE_SPREAD


def test_the_days_of_a_follow_up_are_those_of_its_words() -> None:
    days = {"day": 1.0, "week": 7.0, "month": 365.25 / 12, "year": 365.25}
    thresholds = [one for definition in DEFINITIONS.values() for one in definition.thresholds]
    assert len(thresholds) > 20
    for one in thresholds:
        words = re.match(r"(\d+) (day|week|month|year)s?\b", one.follow_up)
        assert one.follow_up_days == (round(int(words[1]) * days[words[2]]) if words else None), one.follow_up
        assert words or one.follow_up == "not stated in what was read"


@pytest.mark.parametrize("source", NORMS)
def test_every_norm_of_a_source_is_there_as_printed(source: str) -> None:
    found = Counter(held_norm(definition, one) for definition in DEFINITIONS.values() for one in definition.norms)
    expected = Counter((source, row) for row in NORMS[source])
    assert {key: count for key, count in found.items() if key[0] == source} == expected


def test_there_is_no_norm_that_no_source_has() -> None:
    assert {one.citation for definition in DEFINITIONS.values() for one in definition.norms} == set(NORMS)


@pytest.mark.parametrize(("name", "kind", "value"), REMEMBERED)
def test_a_value_that_was_only_remembered_is_no_threshold(name: str, kind: str, value: float) -> None:
    thresholds = load_library().instrument(name).thresholds
    assert [one for one in thresholds if one.kind == kind and float(one.value) == value] == []


@pytest.mark.parametrize(("name", "mean"), NO_CITATION)
def test_a_norm_without_a_confirmed_source_or_of_another_form_is_not_there(name: str, mean: float) -> None:
    assert [one for one in load_library().instrument(name).norms if float(one.mean) == mean] == []


def test_a_measurement_error_has_no_anchor_and_everything_else_says_what_it_knows_of_its_own() -> None:
    thresholds = [one for definition in DEFINITIONS.values() for one in definition.thresholds]
    assert len(thresholds) > 20
    for one in thresholds:
        assert one.anchor.startswith("none: measurement error") == (one.kind == ERROR)
        assert all((one.population, one.anchor, one.follow_up, one.citation))
        if one.holds_hemiarthroplasty is False:
            assert not re.search(r"hemi|not stated in what was read$", one.population), one.population


def test_thresholds_found_with_hemiarthroplasty_are_those_of_the_satisfaction_study_of_2022() -> None:
    """J Shoulder Elbow Surg 2022;31(8): all types, and ream-and-run, which is a hemiarthroplasty."""
    found = [
        (definition.id, float(one.value))
        for definition in DEFINITIONS.values()
        for one in definition.thresholds
        if one.holds_hemiarthroplasty
    ]
    assert found == [("sst", 2.3), ("sst", 2.6)]


@pytest.mark.parametrize("definition", DEFINITIONS.values(), ids=DEFINITIONS)
def test_the_status_is_what_the_sources_allow(definition: Definition) -> None:
    assert definition.status == STATUS[definition.id]
    told = (ROOT / definition.id / definition.version / "SOURCE.md").read_text("utf-8")
    said = " ".join(definition.sources)
    if definition.status == "unverified":
        assert "**Status.** `unverified`" in told
        assert re.search(r"not read|not confirmed|from memory|[Ff]orm cop", said)
    if definition.status == "usable" and "from memory" in said:
        assert "**Status.** `usable`" in told, "what is partly from memory is usable for reasons only"


@pytest.mark.parametrize("definition", DEFINITIONS.values(), ids=DEFINITIONS)
def test_a_period_that_no_source_has_is_not_told(definition: Definition) -> None:
    told = (ROOT / definition.id / definition.version / "SOURCE.md").read_text("utf-8")
    not_confirmed = re.search(r"period\s+(that the items ask about|asked\s+about) was not confirmed", told)
    assert (definition.recall == "not_known") == bool(not_confirmed)
    if definition.recall == "not_known":
        (text,) = load_library().texts(definition.spec).values()
        assert text["recall"] == "Period not confirmed"


def test_ases_and_spadi_are_in_no_follow_up_plan_until_their_topics_are_confirmed() -> None:
    asked = {
        part["instrument"]
        for plan in load_library().plans.values()
        for timepoint in plan["timepoints"]
        for part in timepoint["parts"]
    }
    assert asked
    assert {"ases@1", "spadi@1"} & asked == set()
