"""A published value that contradicts its scale, its own words or another one is refused; its nearest right neighbour is not."""

from typing import Any

import pytest

from scoring.data_reader import DataProblem
from scoring.parse import parse_definition
from tests.scoring.making import definition_data, scale_data, threshold_data

NORM: dict[str, Any] = {"scale": "total", "mean": 5, "sd": None, "population": "p", "n": None, "citation": "c"}
OTHER_END = "the other end of the range is not there, with the same people and citation"


def of(*changes: dict[str, Any], **of_scale: Any) -> dict[str, Any]:
    """A definition with these thresholds on a scale from 0 to 11."""
    return definition_data(scales=[scale_data(**of_scale)], thresholds=[threshold_data(**each) for each in changes])


def refused(data: dict[str, Any], place: str, reason: str) -> None:
    with pytest.raises(DataProblem) as caught:
        parse_definition(data, "trial.json")
    assert (caught.value.place, caught.value.reason) == (f"trial.json {place}", reason)


@pytest.mark.parametrize(("better", "worst", "next_to_it"), [("higher", 0, 0.5), ("lower", 11, 10.9)])
def test_a_level_that_every_score_meets_is_refused(better: str, worst: int, next_to_it: float) -> None:
    said = f"is met by every score: {worst} is the worst there is"
    refused(of({"kind": "pass", "value": worst}, better=better), "thresholds[0] value", said)
    taken = [of({"kind": "pass", "value": level}, better=better) for level in (next_to_it, 11 - worst)]
    assert [len(parse_definition(each, "trial.json").thresholds) for each in taken] == [1, 1]


@pytest.mark.parametrize(
    ("better", "start", "limits", "level", "met"),
    [
        ("higher", [-20, 10], [20 / 3, 10], 6.67, True),
        ("higher", [-20, 10], [20 / 3, 10], 6.7, True),
        ("higher", [-20, 10], [20 / 3, 10], 6.68, False),
        ("higher", [-20, 10], [20 / 3, 10], 7, False),
        ("lower", [0, 30], [0, 10 / 3], 3.33, True),
        ("lower", [0, 30], [0, 10 / 3], 3.3, True),
        ("lower", [0, 30], [0, 10 / 3], 3.32, False),
        ("lower", [0, 30], [0, 10 / 3], 3, False),
    ],
)
def test_a_level_is_met_at_the_decimals_in_which_it_was_printed(
    better: str, start: list[int], limits: list[float], level: float, met: bool
) -> None:
    rule = {"name": "value", "items": ["3"], "then": [{"name": "rescale", "from": start, "to": [0, 10]}]}
    data = of({"kind": "pass", "value": level}, rule=rule, range=limits, better=better)
    if met:
        with pytest.raises(DataProblem, match="value: is met by every score: "):
            parse_definition(data, "trial.json")
    else:
        assert parse_definition(data, "trial.json").thresholds[0].value == level


@pytest.mark.parametrize(
    ("kind", "value", "too_much", "said"),
    [
        ("mcid", 2.5, 2.5, "must be smaller than the value"),
        ("scb", 2.5, 2.6, "must be smaller than the value"),
        ("detectable_change", 3, 3, "must be smaller than the value"),
        ("pass", 1, 11, "must be smaller than the length of the scale"),
    ],
)
def test_a_spread_is_smaller_than_what_it_belongs_to(kind: str, value: float, too_much: float, said: str) -> None:
    one = {"kind": kind, "value": value}
    refused(of({**one, "plus_minus": too_much}), "thresholds[0] plus_minus", said)
    (found,) = parse_definition(of({**one, "plus_minus": too_much - 0.2}), "trial.json").thresholds
    assert found.plus_minus == too_much - 0.2


def test_the_length_of_a_scale_is_counted_from_where_it_begins() -> None:
    """From 2 to 13: a spread of 11 is as long as the scale."""
    rule = {"name": "sum", "items": ["1", "3"], "then": [{"name": "rescale", "from": [0, 11], "to": [2, 13]}]}
    shorter, as_long = (
        of({"kind": "pass", "value": 5, "plus_minus": spread}, rule=rule, range=[2, 13]) for spread in (10.9, 11)
    )
    assert parse_definition(shorter, "trial.json").thresholds[0].plus_minus == 10.9
    refused(as_long, "thresholds[0] plus_minus", "must be smaller than the length of the scale")


@pytest.mark.parametrize(
    ("words", "days"),
    [
        ("1 day", 1),
        ("10 days or more", 10),
        ("1 week", 7),
        ("6 weeks", 42),
        ("1 month", 30),
        ("3 months", 91),
        ("6 months", 183),
        ("1 year", 365),
        ("2 years, mean 3.5 years", 730),
        ("3 years", 1096),
        ("100 years", 36_525),
    ],
)
def test_the_days_of_a_follow_up_are_those_of_its_words(words: str, days: int) -> None:
    begins = " ".join(words.replace(",", "").split()[:2])
    for wrong in (days - 1, days + 1, None):
        data = of({"follow_up": words, "follow_up_days": wrong})
        if wrong not in (0, 36_526):  # these are no days at all, and refused as such
            refused(data, "thresholds[0] follow_up_days", f"must be {days}: follow_up begins with {begins}")
    assert parse_definition(of({"follow_up": words, "follow_up_days": days}), "trial.json").thresholds


def test_a_follow_up_of_more_years_than_any_number_holds_is_refused_too() -> None:
    years = "9" * 400
    with pytest.raises(DataProblem, match="follow_up_days: must be 36524999999"):
        parse_definition(of({"follow_up": f"{years} years"}), "trial.json")


@pytest.mark.parametrize("words", ["not stated", "at least 2 years", "2 yearly visits", "2-5 years", "1.5 years"])
@pytest.mark.parametrize("days", [None, 500])
def test_words_that_do_not_begin_with_a_number_and_a_unit_decide_no_days(words: str, days: int | None) -> None:
    (found,) = parse_definition(of({"follow_up": words, "follow_up_days": days}), "trial.json").thresholds
    assert found.follow_up_days == days


@pytest.mark.parametrize("treatment", ["mixed", "not_stated", "other"])
def test_implants_belong_to_arthroplasty(treatment: str) -> None:
    data = of({"treatment": treatment, "implants": ["reverse"]})
    refused(data, "thresholds[0] implants", "belongs to arthroplasty only")
    assert parse_definition(of({"treatment": treatment}), "trial.json").thresholds[0].implants == ()


@pytest.mark.parametrize(
    ("implants", "hemiarthroplasty"),
    [
        (["resurfacing_hemi"], True),
        (["stemmed_hemi"], True),
        (["stemless_hemi"], True),
        (["reverse", "stemmed_hemi"], True),
        (["resurfacing_with_glenoid"], False),
        (["anatomic_total"], False),
        (["reverse"], False),
        (["reverse", "anatomic_total"], False),
    ],
)
def test_implants_and_holds_hemiarthroplasty_say_the_same(implants: list[str], hemiarthroplasty: bool) -> None:
    said = "names a hemiarthroplasty" if hemiarthroplasty else "names none"
    contrary = of({"implants": implants, "holds_hemiarthroplasty": not hemiarthroplasty})
    refused(contrary, "thresholds[0] holds_hemiarthroplasty", f"contradicts implants, which {said}")
    for right in (hemiarthroplasty, None):
        data = of({"implants": implants, "holds_hemiarthroplasty": right})
        assert parse_definition(data, "trial.json").thresholds[0].holds_hemiarthroplasty is right
    without = of({"holds_hemiarthroplasty": not hemiarthroplasty})
    assert parse_definition(without, "trial.json").thresholds[0].holds_hemiarthroplasty is not hemiarthroplasty


END: dict[str, Any] = {"range_end": True}


@pytest.mark.parametrize(
    "other",
    [
        {"value": 3},
        {"value": 3, "range_end": False},
        {"value": 3, **END, "kind": "scb"},
        {"value": 3, **END, "population": "others"},
        {"value": 3, **END, "citation": "another"},
        {"value": 2.5, **END, "follow_up": "1 year", "follow_up_days": 365},
    ],
)
def test_an_end_of_a_range_has_another_end(other: dict[str, Any]) -> None:
    refused(of(END), "thresholds[0] range_end", OTHER_END)
    refused(of(END, other), "thresholds[0] range_end", OTHER_END)
    assert len(parse_definition(of(END, {"value": 3, **END}, {"value": 2.8}), "trial.json").thresholds) == 3


def test_the_other_end_of_a_range_is_on_the_same_scale() -> None:
    second = scale_data(scale="second", title="Second")
    ends = [threshold_data(**END), threshold_data(**END, value=3, scale="second")]
    data = definition_data(scales=[scale_data(), second], thresholds=ends)
    refused(data, "thresholds[0] range_end", OTHER_END)


def test_the_end_that_is_refused_is_the_one_without_another() -> None:
    data = of({"value": 2}, END, {"value": 3, **END}, {"value": 4, **END, "population": "others"})
    refused(data, "thresholds[3] range_end", OTHER_END)


@pytest.mark.parametrize("change", [{}, {"mean": 6}, {"sd": 1}, {"n": 9}, {"note": "again"}])
def test_people_of_one_source_have_one_norm_on_a_scale(change: dict[str, Any]) -> None:
    said = "has a norm already, on the same scale and with the same citation"
    refused(definition_data(norms=[NORM, NORM | change]), "norms[1] population", said)


@pytest.mark.parametrize("change", [{"population": "others"}, {"citation": "another"}, {"scale": "second"}])
def test_other_people_another_source_or_another_scale_have_a_norm_of_their_own(change: dict[str, Any]) -> None:
    scales = [scale_data(), scale_data(scale="second", title="Second")]
    data = definition_data(scales=scales, norms=[NORM, NORM | change])
    assert len(parse_definition(data, "trial.json").norms) == 2
