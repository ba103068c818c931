"""Which values a scale can reach, and the first that meets a threshold."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import product
from typing import Any

import pytest

from scoring.answers import Answer
from scoring.definition import Definition, Threshold
from scoring.parse import parse_definition
from scoring.reachable import first_reachable, reachable_values
from scoring.score import score
from tests.scoring.making import definition_data, library, scale_data, threshold_data


def firsts(spec: str, kind: str, scale: str) -> dict[float, float]:
    """The first reachable value by the threshold as published."""
    definition = library().instrument(spec)
    return {
        each.value: first_reachable(definition, each)
        for each in definition.thresholds
        if each.kind == kind and each.scale == scale
    }


def test_a_level_of_8_4_on_the_sst_is_first_reached_at_9() -> None:
    assert firsts("sst", "pass", "total") == {8.4: 9, 11: 11}


def test_a_level_where_less_is_better_is_first_reached_from_above() -> None:
    assert firsts("pain", "pass", "pain") == {1.5: 1, 3: 3, 1.7: 1}


def test_a_change_on_a_scale_of_whole_numbers_is_the_next_whole_number() -> None:
    assert firsts("sst", "mcid", "total") == {2.3: 3, 1.6: 2, 2.6: 3, 3.7: 4, 1.5: 2, 2.2: 3, 3.0: 3}


def test_a_change_on_a_scale_of_thirds_is_the_next_step_of_it() -> None:
    assert firsts("ases", "mcid", "total")[6.4] == float(Fraction(20, 3))


def test_a_printed_decimal_is_reached_by_what_it_was_rounded_from() -> None:
    """7 raw points of the QuickDASH are 15.909..., printed 15.91; 81.666... of the ASES is printed 81.7."""
    assert firsts("quickdash", "mcid", "total")[15.91] == float(Fraction(175, 11))
    assert firsts("ases", "pass", "total")[81.7] == float(Fraction(245, 3))


def test_measurement_error_is_first_exceeded() -> None:
    assert firsts("sst", "detectable_change", "total")[2.8] == 3
    assert first_reachable(*whole("detectable_change", 6)) == 7
    assert first_reachable(*whole("mcid", 6)) == 6


def whole(kind: str, value: int) -> tuple[Definition, Threshold]:
    definition = parse_definition(definition_data(thresholds=[threshold_data(kind=kind, value=value)]), "trial.json")
    return definition, definition.thresholds[0]


def test_where_a_part_is_a_measurement_the_threshold_stands() -> None:
    definition = library().instrument("constant")
    assert reachable_values(definition, "total") is None
    assert reachable_values(definition, "motion") == tuple(map(Fraction, range(0, 41, 2)))
    assert set(firsts("constant", "mcid", "total").items()) >= {(10.4, 10.4), (5.7, 5.7)}


Codes = dict[str, list[int]]
FROM_0: Codes = {"1": [0, 1], "2": [0, 1, 2, 3], "3": [1, 0]}
WITH_GAPS: Codes = {"1": [1, 2], "2": [-3, 0, 4], "3": [2, 5, 7]}
# The codes, the rule, and the limits that a definition must state.
RULES: list[tuple[Codes, dict[str, Any], list[float]]] = [
    (FROM_0, {"name": "sum", "items": ["1", "2", "3"]}, [0, 5]),
    (
        FROM_0,
        {"name": "mean", "items": ["1", "2", "3"], "then": [{"name": "rescale", "from": [0, 2], "to": [0, 100]}]},
        [0, 250 / 3],
    ),
    (
        FROM_0,
        {
            "name": "highest",
            "items": ["1", "2"],
            "each": [{"name": "rescale", "of": ["2"], "from": [0, 3], "to": [1, 7]}],
        },
        [1, 7],
    ),
    (FROM_0, {"name": "weighted", "items": ["1", "3"], "weights": [0.5, 2]}, [0, 2.5]),
    (
        FROM_0,
        {"name": "sum", "items": ["2", "3"], "each": [{"name": "band", "of": ["2"], "up_to": [[1, 0], [3, 5]]}]},
        [0, 6],
    ),
    (
        FROM_0,
        {"name": "value", "items": ["2"], "then": [{"name": "table", "rows": [[0, 9], [1, 5.5], [2, 5.5], [3, 1]]}]},
        [1, 9],
    ),
    (WITH_GAPS, {"name": "sum", "items": ["1", "2", "3"]}, [0, 13]),
    (WITH_GAPS, {"name": "mean", "items": ["1", "2", "3"]}, [0, 13 / 3]),
    (WITH_GAPS, {"name": "highest", "items": ["1", "2"]}, [1, 4]),
    (WITH_GAPS, {"name": "weighted", "items": ["1", "2", "3"], "weights": [0.5, 2, 0.3]}, [-4.9, 11.1]),
    (WITH_GAPS, {"name": "value", "items": ["2"]}, [-3, 4]),
]


@pytest.mark.parametrize(("codes", "rule", "limits"), RULES, ids=str)
def test_it_lists_what_trying_every_sheet_finds(codes: Codes, rule: dict[str, Any], limits: list[float]) -> None:
    items = [{"item": name, "type": "choice", "codes": each, "topic": "t"} for name, each in codes.items()]
    definition = parse_definition(
        definition_data(items=items, scales=[scale_data(range=limits, rule=rule)], thresholds=[]), "trial.json"
    )
    found = set()
    for values in product(*codes.values()):
        sheet = {name: Answer("answered", value) for name, value in zip(codes, values, strict=True)}
        found.add(score(definition, sheet)[0].value)
    values_listed = reachable_values(definition, "total")
    assert values_listed is not None
    assert [float(value) for value in values_listed] == sorted(float(value) for value in found if value is not None)


def lists(*parts: tuple[str, dict[str, Any], Sequence[float]], **largest: int) -> bool:
    """Whether the values of the last of these scales are listed; items are whole numbers from 0, keyed `item_1`."""
    items = [
        {"item": name.removeprefix("item_"), "type": "integer", "min": 0, "max": most, "topic": "t"}
        for name, most in largest.items()
    ]
    scales = [scale_data(scale=name, title=name, rule=rule, range=limits) for name, rule, limits in parts]
    data = definition_data(items=items, scales=scales, thresholds=[])
    return reachable_values(parse_definition(data, "trial.json"), parts[-1][0]) is not None


def sum_of(*items: str) -> dict[str, Any]:
    return {"name": "sum", "items": list(items)}


def over(*scales: str) -> dict[str, Any]:
    return {"name": "sum", "scales": list(scales)}


@pytest.mark.parametrize(("most", "listed"), [(1999, True), (2000, False)])
def test_an_item_with_more_than_two_thousand_values_is_a_measurement(most: int, listed: bool) -> None:
    halves = {"name": "band", "of": ["1"], "up_to": [[9, 0], [most, 1]]}
    assert lists(("total", sum_of("1"), [0, most]), item_1=most) is listed
    assert lists(("total", sum_of("1", "2"), [0, most + 1]), item_1=most, item_2=1) is listed
    assert lists(("total", sum_of("1", "2") | {"each": [halves]}, [0, 2]), item_1=most, item_2=1) is listed


@pytest.mark.parametrize(("most", "listed"), [(1000, True), (1001, False)])
def test_so_is_a_part_with_more_than_two_thousand_values(most: int, listed: bool) -> None:
    part = ("part", sum_of("1", "2"), [0, most + 999])
    assert lists(part, ("total", over("part"), [0, most + 999]), item_1=most, item_2=999) is listed
    small = ("small", sum_of("3"), [0, 1])
    total = ("total", over("part", "small"), [0, most + 1000])
    assert lists(part, small, total, item_1=most, item_2=999, item_3=1) is listed


def test_the_values_of_parts_of_parts_are_listed() -> None:
    first, apart = ("a", sum_of("1", "2"), [0, 2]), ("b", sum_of("3"), [0, 1])
    between = ("c", over("a"), [0, 2])
    assert lists(first, between, apart, ("total", over("c", "b"), [0, 3]), item_1=1, item_2=1, item_3=1)


def test_the_first_change_is_the_smallest_between_any_two_values() -> None:
    """Values 0, 1 and 5: a change of 2 is first met by 4, from 1 to 5."""
    rule = {"name": "value", "items": ["1"], "then": [{"name": "table", "rows": [[0, 0], [1, 1], [2, 5]]}]}
    items = [{"item": "1", "type": "choice", "codes": [0, 1, 2], "topic": "t"}]
    thresholds = [threshold_data(kind="mcid", value=value) for value in (0.5, 1, 2, 4.5, 5)]
    data = definition_data(items=items, scales=[scale_data(rule=rule, range=[0, 5])], thresholds=thresholds)
    definition = parse_definition(data, "trial.json")
    assert [first_reachable(definition, each) for each in definition.thresholds] == [1, 1, 4, 5, 5]


def test_a_threshold_that_nothing_reaches_stands_as_it_is() -> None:
    """Scores from 0 to 11: no change exceeds 11, and none is 40."""
    definition, error = whole("detectable_change", 11)
    assert first_reachable(definition, error) == 11
    beyond = [replace(error, kind=kind, value=40) for kind in ("mcid", "pass")]
    assert [first_reachable(definition, each) for each in beyond] == [40, 40]
