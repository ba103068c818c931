"""Sheets with the same sum are told apart where the rule does, and each score says how it came about."""

from typing import Any

import pytest

from scoring.answers import read_sheet
from scoring.definition import Definition
from scoring.parse import parse_definition
from scoring.score import SCORING_VERSION, ScaleScore, score
from tests.scoring.making import definition_data, library, scale_data

CHOICES = [{"item": str(n), "type": "choice", "codes": [0, 1, 2], "topic": "t"} for n in (1, 2, 3)]


def made(*scales: dict[str, Any], items: list[dict[str, Any]] = CHOICES) -> Definition:
    return parse_definition(definition_data(items=items, scales=list(scales), thresholds=[]), "trial.json")


def scored(definition: Definition, values: dict[str, object]) -> tuple[ScaleScore, ...]:
    return score(definition, read_sheet(definition, values))


def test_sheets_of_the_same_sum_differ_where_the_weights_do() -> None:
    rule = {"name": "weighted", "items": ["1", "2"], "weights": [1, 3]}
    definition = made(scale_data(rule=rule, range=[0, 8]))
    found = [scored(definition, {"1": one, "2": two, "3": 0})[0].value for one, two in ((2, 0), (0, 2), (1, 1))]
    assert found == [2, 6, 4]


def test_sheets_of_the_same_sum_differ_where_an_item_takes_a_step_of_its_own() -> None:
    each = [{"name": "table", "of": ["1"], "rows": [[0, 0], [1, 5], [2, 6]]}]
    definition = made(scale_data(rule={"name": "sum", "items": ["1", "2"], "each": each}, range=[0, 8]))
    found = [scored(definition, {"1": one, "2": two, "3": 0})[0].value for one, two in ((1, 1), (2, 0), (0, 2))]
    assert found == [6, 6, 2]


def test_the_highest_of_a_sheet_does_not_follow_from_its_sum() -> None:
    definition = made(scale_data(rule={"name": "highest", "items": ["1", "2"]}, range=[0, 2]))
    assert [scored(definition, {"1": one, "2": 2 - one, "3": 0})[0].value for one in (1, 2, 0)] == [1, 2, 2]


def test_a_blank_that_was_skipped_by_rule_is_told_as_skipped() -> None:
    items: list[dict[str, Any]] = [*CHOICES[:1], CHOICES[1] | {"asked_if": {"item": "1", "codes": [1]}}]
    definition = made(scale_data(rule={"name": "sum", "items": ["1", "2"]}, range=[0, 4]), items=items)
    reason = "1 of 2 items answered, all needed (1 skipped)"
    assert scored(definition, {"1": 0, "2": None})[0].reason == scored(definition, {"1": 0})[0].reason == reason


@pytest.mark.parametrize("answers", [{}, {"1": 1}, {"1": 2, "2": 0, "3": 1}])
def test_a_bound_with_steps_needs_an_answer(answers: dict[str, object]) -> None:
    """Counted as 0, a reversed blank gives 2; without any answer there is nothing to bound."""
    fill = {"name": "fill", "value": 0, "source": "made for tests"}
    each = [{"name": "reverse", "of": ["1", "2", "3"], "range": [0, 2]}]
    rule = {"name": "sum", "items": ["1", "2", "3"], "each": each}
    score = scale_data(rule=rule, range=[0, 6])
    definition = made(score, score | {"scale": "bound", "title": "Bound", "missing": fill})
    _score, found = scored(definition, answers)
    assert found.value == (6 - sum(int(str(value)) for value in answers.values()) if answers else None)
    assert found.flags == ("bound",)


def test_every_score_names_the_version_that_computed_it() -> None:
    """Whole, prorated, and without a score."""
    quickdash = library().instrument("quickdash")
    whole: dict[str, object] = {item.item: item.numbers[0] for item in quickdash.items}
    sheets: list[dict[str, object]] = [whole, whole | {"1": None}, {}]
    assert [{each.scoring_version for each in scored(quickdash, sheet)} for sheet in sheets] == [{SCORING_VERSION}] * 3
