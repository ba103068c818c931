"""Every word that a definition may use is read, and what it leaves out has a plain meaning."""

from typing import Any

import pytest

from scoring.data_reader import DataProblem
from scoring.definition import Item, Licence, Missing
from scoring.parse import parse_definition
from tests.scoring.making import definition_data, scale_data, threshold_data, trial

CHOICE: dict[str, Any] = {"item": "1", "type": "choice", "codes": [1, 0], "topic": "choice"}
NORM: dict[str, Any] = {"scale": "total", "mean": 5, "sd": None, "population": "p", "n": None, "citation": "c"}
SCALE: dict[str, Any] = {"item": "3", "type": "scale", "min": 0, "max": 10, "topic": "scale"}


@pytest.mark.parametrize("recall", ["now", "day", "week", "four_weeks", "since_last"])
def test_every_period_that_an_instrument_asks_about(recall: str) -> None:
    assert trial(recall=recall).recall == recall


@pytest.mark.parametrize("status", ["usable", "needs_permission", "unverified"])
def test_every_status(status: str) -> None:
    licence = {"terms": "ask", "source": "the owner", "needs_permission": status == "needs_permission"}
    assert trial(status=status, licence=licence).sendable is (status == "usable")


@pytest.mark.parametrize("kind", ["mcid", "scb", "detectable_change", "pass"])
def test_every_kind_of_threshold(kind: str) -> None:
    (found,) = trial(thresholds=[threshold_data(kind=kind)]).thresholds
    assert (found.kind, found.value, found.plus_minus, found.note) == (kind, 2.5, None, None)
    assert (found.implants, found.confidence_percent, found.range_end) == ((), None, False)
    assert (found.limits, found.distribution_based) == (None, False)


def test_how_a_threshold_was_found_is_kept() -> None:
    (found,) = trial(thresholds=[threshold_data(limits=[-1, 2.6], distribution_based=True)]).thresholds
    assert (found.limits, found.distribution_based) == ((-1, 2.6), True)
    (found,) = trial(thresholds=[threshold_data(distribution_based=False)]).thresholds
    assert not found.distribution_based


@pytest.mark.parametrize("treatment", ["arthroplasty", "mixed", "not_stated", "other"])
def test_whom_a_threshold_was_found_in_is_kept(treatment: str) -> None:
    implants = ["reverse"] if treatment == "arthroplasty" else []
    more = {"treatment": treatment, "range_end": True, "plus_minus": 0.5, "confidence_percent": 90}
    more |= {"implants": implants} if implants else {}
    ends = [threshold_data(kind="detectable_change", value=value, **more) for value in (2.5, 3)]
    found, _ = trial(thresholds=ends).thresholds
    assert (found.treatment, found.implants, found.range_end) == (treatment, tuple(implants), True)
    assert (found.follow_up_days, found.confidence_percent, found.plus_minus) == (730, 90, 0.5)


def test_the_ends_of_what_a_threshold_and_a_norm_can_be_are_kept() -> None:
    """The trial's scale runs from 0 to 11."""
    for kind, value in (("mcid", 11), ("pass", 1), ("pass", 11), ("mcid", 0.01)):
        assert trial(thresholds=[threshold_data(kind=kind, value=value)]).thresholds[0].value == value
    for days, confidence in ((1, 1), (36_525, 99)):
        one = threshold_data(
            kind="detectable_change", follow_up_days=days, confidence_percent=confidence, follow_up="f"
        )
        (found,) = trial(thresholds=[one]).thresholds
        assert (found.follow_up_days, found.confidence_percent) == (days, confidence)
    norm: dict[str, Any] = {"scale": "total", "sd": 0.1, "population": "p", "n": 1, "citation": "c"}
    assert [trial(norms=[{**norm, "mean": mean}]).norms[0].mean for mean in (0, 11)] == [0, 11]
    for other in ("kind", "value", "population", "follow_up", "citation"):
        changed = {"kind": "scb", "value": 3}.get(other, "another")
        two = [threshold_data(), threshold_data(**{other: changed})]
        assert len(trial(thresholds=two).thresholds) == 2, other
    scales = [scale_data(), scale_data(scale="second", title="Second")]
    assert len(trial(scales=scales, thresholds=[threshold_data(), threshold_data(scale="second")]).thresholds) == 2


def test_a_change_is_measured_by_the_length_of_its_scale_wherever_that_begins() -> None:
    """From 2 to 4: no change is larger than 2."""
    items = [{"item": "1", "type": "choice", "codes": [2, 4], "topic": "t"}]
    scales = [scale_data(rule={"name": "value", "items": ["1"]}, range=[2, 4])]
    (found,) = trial(items=items, scales=scales, thresholds=[threshold_data(value=2)]).thresholds
    assert found.value == 2
    with pytest.raises(DataProblem, match="is no change on a scale from 2 to 4"):
        trial(items=items, scales=scales, thresholds=[threshold_data(value=2.5)])


@pytest.mark.parametrize("unit", ["percent", "weeks", "millimetres", "degrees", "grams"])
def test_every_unit(unit: str) -> None:
    measured = {"item": "5", "type": "integer", "min": 0, "max": 9, "unit": unit, "topic": "t"}
    assert trial(items=[CHOICE, SCALE, measured]).by_item["5"].unit == unit


def test_every_member_of_a_threshold_is_kept() -> None:
    (found,) = trial(
        thresholds=[threshold_data(plus_minus=0.3, n=466, holds_hemiarthroplasty=False, note="read in the abstract")]
    ).thresholds
    assert (found.plus_minus, found.n, found.holds_hemiarthroplasty, found.note) == (
        0.3,
        466,
        False,
        "read in the abstract",
    )
    assert (found.scale, found.population, found.anchor, found.follow_up) == ("total", "nobody", "none", "2 years")


@pytest.mark.parametrize("n", [1, 10_000_000])
def test_a_threshold_was_found_in_one_person_or_in_many(n: int) -> None:
    assert trial(thresholds=[threshold_data(n=n)]).thresholds[0].n == n


def test_every_member_of_a_norm_is_kept() -> None:
    norm: dict[str, Any] = {
        "scale": "total", "mean": 5, "sd": None, "population": "p", "n": None, "citation": "c", "note": "only men",
    }  # fmt: skip
    (found,) = trial(norms=[norm]).norms
    assert (found.sd, found.n, found.note, found.population, found.citation) == (None, None, "only men", "p", "c")
    (found,) = trial(norms=[{**norm, "sd": 1.5, "n": 1}]).norms
    assert (found.scale, found.mean, found.sd, found.n) == ("total", 5, 1.5, 1)
    assert trial(norms=[{**norm, "n": 10_000_000}]).norms[0].n == 10_000_000
    assert trial().norms == ()


def test_the_licence_is_kept() -> None:
    licence = {"terms": "ask", "source": "the owner", "needs_permission": True}
    assert trial(status="needs_permission", licence=licence).licence == Licence("ask", "the owner", True)


MORE = {"colour": "red"}


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"norms": [{**NORM, "n": 10_000_001}]}, "norms[0] n: must be a whole number from 1 to 10000000"),
        ({"thresholds": [threshold_data(n=10_000_001)]}, "thresholds[0] n: must be a whole number from 1 to 10000000"),
        (
            {"thresholds": [threshold_data(**MORE)]},
            "thresholds[0] colour: is not understood here; known: kind, scale, ",
        ),
        ({"norms": [NORM | MORE]}, "norms[0] colour: is not understood here; known: scale, mean, sd, "),
        (
            {"licence": {"terms": "t", "source": "s", "needs_permission": False} | MORE},
            "licence colour: is not understood here; known: terms, source, needs_permission",
        ),
        ({"scales": [scale_data(**MORE)]}, "scales[0] colour: is not understood here; known: scale, title, range, "),
        (
            {"items": [CHOICE, SCALE, {**CHOICE, "item": "4", "asked_if": {"item": "1", "codes": [1]} | MORE}]},
            "items[2] asked_if colour: is not understood here; known: item, codes",
        ),
        (
            {"items": [CHOICE, SCALE, {**CHOICE, "item": "4", "asked_if": {"item": "x", "codes": [1]}}]},
            'items[2] asked_if item: "x" does not have the form it should have',
        ),
        ({"scales": [scale_data(scale="Total")]}, 'scales[0] scale: "Total" does not have the form it should have'),
        ({"scales": [scale_data(scale="t" * 41)]}, f'scales[0] scale: "{"t" * 38}… does not have the form it should'),
        ({"scales": [scale_data(title="t" * 81)]}, f'scales[0] title: "{"t" * 38}… does not have the form it should'),
        (
            {"scales": [scale_data(method="t" * 201)]},
            f'scales[0] method: "{"t" * 38}… does not have the form it should',
        ),
        ({"scales": [scale_data(decimals=-1)]}, "scales[0] decimals: must be a whole number from 0 to 4"),
        ({"scales": [scale_data(decimals=5)]}, "scales[0] decimals: must be a whole number from 0 to 4"),
        ({"scales": [scale_data(better="up")]}, 'scales[0] better: "up" is none of higher, lower'),
        ({"thresholds": {}}, "thresholds: must be a list"),
    ],
)
def test_what_no_part_of_a_definition_may_hold(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError) as caught:
        parse_definition(definition_data(thresholds=[]) | changes, "trial.json")
    assert str(caught.value).startswith(f"trial.json {said}")


@pytest.mark.parametrize("decimals", [0, 4])
def test_a_scale_may_use_its_names_to_the_full_length(decimals: int) -> None:
    name, title, method = "t" * 40, "t" * 80, "m" * 200
    scale = scale_data(scale=name, title=title, method=method, decimals=decimals)
    (found,) = trial(scales=[scale], thresholds=[]).scales
    assert (found.scale, found.title, found.method, found.decimals) == (name, title, method, decimals)


def test_what_an_item_leaves_out() -> None:
    plain = trial().by_item["1"]
    assert plain == Item("1", "choice", "choice", (1, 0))
    assert (plain.max_length, plain.unit, plain.warning, plain.asked_if) == (0, None, frozenset(), None)
    assert (plain.not_applicable, plain.identifying, plain.found_by) == (False, False, "patient")


def test_what_an_item_says_is_kept() -> None:
    items = trial(items=[CHOICE | {"warning": [1], "not_applicable": True, "found_by": "examiner"}, SCALE]).by_item
    assert items["1"].warning == {1}
    assert (items["1"].not_applicable, items["1"].found_by) == (True, "examiner")
    assert trial(items=[CHOICE | {"not_applicable": False}, SCALE]).by_item["1"].not_applicable is False
    assert trial(items=[CHOICE | {"found_by": "patient"}, SCALE]).sendable
    assert (trial().by_item["4"].max_length, trial().by_item["4"].identifying) == (20, True)
    assert trial().by_item["2"].unit == "percent"
    assert trial().by_item["2"].numbers == range(0, 101, 5)
    assert trial().by_item["3"].numbers == range(11)
    assert trial().by_item["1a"].numbers == trial().by_item["4"].numbers == ()


def test_a_rule_for_blanks_without_numbers_of_its_own() -> None:
    missing = Missing("complete", "source")
    assert (missing.value, missing.needs, missing.basis) == (None, 0, "published")
    assert trial().by_scale["total"].missing == Missing("complete", "made for tests")


@pytest.mark.parametrize(
    ("member", "value", "good"),
    [
        ("id", "a" + "b" * 29, True),
        ("id", "a" + "b" * 30, False),
        ("id", "a-2", True),
        ("id", "2a", False),
        ("version", "999999", True),
        ("version", "1000000", False),
        ("version", "0", False),
        ("title", "t" * 120, True),
        ("title", "t" * 121, False),
    ],
)
def test_names_have_a_form_and_a_length(member: str, value: str, good: bool) -> None:
    data = definition_data(**{member: value})
    if good:
        assert getattr(parse_definition(data, "trial.json"), member) == value
    else:
        with pytest.raises(ValueError, match=f"^trial.json {member}: .* does not have the form it should have$"):
            parse_definition(data, "trial.json")


@pytest.mark.parametrize(
    ("changes", "refused"),
    [
        ({"type": "integer", "min": -100_000, "max": 100_000}, None),
        ({"type": "integer", "min": -100_001, "max": 0}, "min: must be a whole number from -100000 to 100000"),
        ({"type": "integer", "min": 0, "max": 100_001}, "max: must be a whole number from 1 to 100000"),
        ({"type": "integer", "min": 0, "max": 1}, None),
        ({"type": "integer", "min": 0, "max": 4, "step": 4}, None),
        ({"type": "integer", "min": 0, "max": 4, "step": 5}, "step: must be a whole number from 1 to 4"),
        ({"type": "integer", "min": 0, "max": 4, "step": 0}, "step: must be a whole number from 1 to 4"),
        ({"type": "integer", "min": 1, "max": 5, "step": 4}, None),
        ({"type": "integer", "min": 1, "max": 5, "step": 5}, "step: must be a whole number from 1 to 4"),
        ({"type": "integer", "min": 1, "max": 5, "step": 3}, "step: does not lead from 1 to 5"),
        ({"type": "text", "max_length": 2000, "identifying": True}, None),
        ({"type": "text", "max_length": 1, "identifying": True}, None),
        ({"type": "text", "max_length": 0, "identifying": True}, "max_length: must be a whole number from 1 to 2000"),
        (
            {"type": "text", "max_length": 2001, "identifying": True},
            "max_length: must be a whole number from 1 to 2000",
        ),
        ({"type": "choice", "codes": [-1000, 1000]}, None),
        ({"type": "choice", "codes": [1, -1001]}, "codes[1]: must be a whole number from -1000 to 1000"),
        ({"type": "choice", "codes": [1001, 1]}, "codes[0]: must be a whole number from -1000 to 1000"),
        ({"type": "month", "topic": "t" * 120}, None),
        ({"type": "month", "topic": "t" * 121}, f'topic: "{"t" * 38}… does not have the form it should have'),
        ({"type": "month", "item": "999z"}, None),
        ({"type": "month", "item": "1000"}, 'item: "1000" does not have the form it should have'),
    ],
)
def test_an_item_has_limits(changes: dict[str, Any], refused: str | None) -> None:
    data = definition_data(items=[CHOICE, SCALE, {"item": "9", "topic": "t"} | changes])
    if refused is None:
        assert len(parse_definition(data, "trial.json").items) == 3
    else:
        with pytest.raises(ValueError) as caught:
            parse_definition(data, "trial.json")
        assert str(caught.value) == f"trial.json items[2] {refused}"


def test_titles_that_differ_in_their_words_are_two_titles() -> None:
    second = scale_data(scale="other", title="To tal")
    assert [scale.title for scale in trial(scales=[scale_data(), second]).scales] == ["Total", "To tal"]
