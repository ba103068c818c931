"""Which values a scale can reach, and the first that meets a threshold."""

from fractions import Fraction
from itertools import product
from typing import Any

import pytest

from scoring.answers import Answer
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


def test_where_a_part_is_a_measurement_the_threshold_stands() -> None:
    definition = library().instrument("constant")
    assert reachable_values(definition, "total") is None
    assert reachable_values(definition, "motion") == tuple(map(Fraction, range(0, 41, 2)))
    assert set(firsts("constant", "mcid", "total").items()) >= {(10.4, 10.4), (5.7, 5.7)}


STEPS: list[dict[str, Any]] = [
    {"name": "sum", "items": ["1", "2", "3"]},
    {"name": "mean", "items": ["1", "2", "3"], "then": [{"name": "rescale", "from": [0, 2], "to": [0, 100]}]},
    {"name": "highest", "items": ["1", "2"], "each": [{"name": "rescale", "of": ["2"], "from": [0, 3], "to": [1, 7]}]},
    {"name": "weighted", "items": ["1", "3"], "weights": [0.5, 2]},
    {"name": "sum", "items": ["2", "3"], "each": [{"name": "band", "of": ["2"], "up_to": [[1, 0], [3, 5]]}]},
    {"name": "value", "items": ["2"], "then": [{"name": "table", "rows": [[0, 9], [1, 5.5], [2, 5.5], [3, 1]]}]},
]
RANGES: list[list[float]] = [[0, 5], [0, 250 / 3], [1, 7], [0, 2.5], [0, 6], [1, 9]]


@pytest.mark.parametrize(("rule", "limits"), list(zip(STEPS, RANGES, strict=True)), ids=str)
def test_it_lists_what_trying_every_sheet_finds(rule: dict[str, Any], limits: list[float]) -> None:
    codes = {"1": [0, 1], "2": [0, 1, 2, 3], "3": [1, 0]}
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


def test_a_threshold_that_nothing_reaches_stands_as_it_is() -> None:
    data = definition_data(thresholds=[threshold_data(kind="mcid", value=40), threshold_data(kind="pass", value=40)])
    definition = parse_definition(data, "trial.json")
    assert [first_reachable(definition, each) for each in definition.thresholds] == [40, 40]
