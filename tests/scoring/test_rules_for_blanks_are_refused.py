"""A rule for blanks is refused where its bound is none, or where what was answered cannot stand for the rest."""

from typing import Any

import pytest

from scoring.data_reader import DataProblem
from scoring.parse import parse_definition
from tests.scoring.making import definition_data, scale_data

ITEMS = [{"item": str(n), "type": "scale", "min": 0, "max": 10, "topic": "t"} for n in (1, 2, 3)]
SUM = {"name": "sum", "items": ["1", "2", "3"]}


def of(rule: dict[str, Any], limits: list[float], missing: dict[str, Any]) -> dict[str, Any]:
    scale = scale_data(rule=rule, range=limits, missing=missing)
    return definition_data(items=ITEMS, scales=[scale], thresholds=[])


def test_blanks_are_spread_over_two_items_but_not_over_one() -> None:
    prorated = {"name": "prorate", "needs": 1, "basis": "none", "source": "s"}
    two = parse_definition(of(SUM | {"items": ["1", "2"]}, [0, 20], prorated), "trial.json")
    assert two.scales[0].missing.needs == 1
    with pytest.raises(DataProblem, match="missing name: needs several items that reach the same numbers"):
        parse_definition(of(SUM | {"items": ["1"]}, [0, 10], prorated), "trial.json")


def test_one_item_that_may_not_apply_is_enough_for_a_rule_of_what_applies() -> None:
    applies = {"name": "applicable", "needs": 2, "basis": "none", "source": "s"}
    data = of(SUM, [0, 30], applies)
    data["items"] = [ITEMS[0] | {"not_applicable": True}, *ITEMS[1:]]
    assert parse_definition(data, "trial.json").scales[0].missing.name == "applicable"


def with_bound(
    items: list[dict[str, Any]], each: list[dict[str, Any]], limits: list[float], value: int
) -> dict[str, Any]:
    """A score of these items, and what it is when every blank counts as `value`."""
    rule = {"name": "sum", "items": [item["item"] for item in items], "each": each}
    score = scale_data(rule=rule if each else {k: v for k, v in rule.items() if k != "each"}, range=limits)
    bound = score | {"scale": "bound", "title": "Bound", "missing": {"name": "fill", "value": value, "source": "s"}}
    return definition_data(items=items, scales=[score, bound], thresholds=[])


def choice(name: str, *codes: int) -> dict[str, Any]:
    return {"item": name, "type": "choice", "codes": list(codes), "topic": "t"}


ALIKE = [choice("1", 3, 2, 1, 0), choice("2", 0, 1, 2, 3)]
UNLIKE = [choice("1", 0, 1, 2, 3), choice("2", -1, 0, 3, 4)]
TURN = {"name": "reverse", "range": [0, 3]}


@pytest.mark.parametrize(
    ("data", "value"),
    [
        (with_bound(ALIKE, [], [0, 6], 0), 0),
        (with_bound(ALIKE, [], [0, 6], 3), 3),
        (with_bound(ALIKE, [TURN], [0, 6], 0), 0),
        (with_bound(ALIKE, [TURN], [0, 6], 3), 3),
        (with_bound([choice("1", 0, 1), choice("2", 1, 2)], [TURN | {"of": ["1"], "range": [0, 1]}], [1, 3], 1), 1),
        (with_bound(ALIKE, [{"name": "band", "up_to": [[1, 0], [3, 5]]}], [0, 10], 1), 1),
    ],
)
def test_a_bound_is_an_end_of_every_item(data: dict[str, Any], value: int) -> None:
    assert parse_definition(data, "trial.json").scales[1].missing.value == value


@pytest.mark.parametrize(
    ("data", "value"),
    [
        (with_bound(ALIKE, [], [0, 6], 1), 1),
        (with_bound(ALIKE, [], [0, 6], 2), 2),
        (with_bound([choice("1", 1, 3, 0, 2)], [], [0, 3], 1), 1),
        (with_bound([choice("1", 1, 3, 0, 2)], [], [0, 3], 2), 2),
        (with_bound(UNLIKE, [], [-1, 7], 0), 0),
        (with_bound(UNLIKE, [], [-1, 7], 3), 3),
        (with_bound(UNLIKE[::-1], [], [-1, 7], 0), 0),
        (with_bound(UNLIKE[::-1], [], [-1, 7], 3), 3),
        (with_bound(ALIKE, [TURN | {"of": ["1"]}], [0, 6], 0), 0),
        (with_bound(ALIKE, [TURN | {"of": ["2"]}], [0, 6], 3), 3),
        (with_bound([choice("1", 0, 1), choice("2", 1, 2)], [], [1, 3], 1), 1),
    ],
)
def test_what_is_no_end_of_an_item_or_not_the_same_end_of_all_is_no_bound(data: dict[str, Any], value: int) -> None:
    with pytest.raises(DataProblem) as caught:
        parse_definition(data, "trial.json")
    assert caught.value.place == "trial.json scales[1] missing value"
    said = f"{value} is no bound: neither the lowest of every item nor the highest of every item"
    assert caught.value.reason == said


@pytest.mark.parametrize(
    ("first", "second", "each", "alike"),
    [
        (choice("1", 0, 12), {"item": "2", "type": "scale", "min": 0, "max": 12, "topic": "t"}, [], False),
        (choice("1", 0, 6, 12), {"item": "2", "type": "integer", "min": 0, "max": 12, "step": 6, "topic": "t"}, [], True),
        (choice("1", 0, 5, 12), {"item": "2", "type": "integer", "min": 0, "max": 12, "step": 6, "topic": "t"}, [], False),
        (choice("1", 0, 1, 3), choice("2", 3, 1, 0), [], True),
        (choice("1", 0, 1, 3), choice("2", 0, 1, 3), [TURN | {"of": ["1"]}], False),
        (choice("1", 0, 1, 3), choice("2", 0, 2, 3), [TURN | {"of": ["2"]}], True),
        (choice("1", 0, 1, 3), choice("2", 0, 1, 3), [TURN], True),
        (choice("1", 0, 1, 2), choice("2", 0, 2, 4), [{"name": "rescale", "of": ["1"], "from": [0, 2], "to": [0, 4]}], True),
    ],
)  # fmt: skip
@pytest.mark.parametrize("name", ["prorate", "applicable"])
def test_blanks_are_spread_over_items_that_reach_the_same_numbers_all_of_them(
    first: dict[str, Any], second: dict[str, Any], each: list[dict[str, Any]], alike: bool, name: str
) -> None:
    high = {3: 3, 2: 4, 12: 12}[max(first.get("codes", [12]))]
    rule = {"name": "mean", "items": ["1", "2"]} | ({"each": each} if each else {})
    missing = {"name": name, "needs": 1, "basis": "none", "source": "s"}
    scale = scale_data(rule=rule, range=[0, high], missing=missing)
    data = definition_data(items=[first | {"not_applicable": True}, second], scales=[scale], thresholds=[])
    if alike:
        assert parse_definition(data, "trial.json").scales[0].missing.name == name
    else:
        with pytest.raises(DataProblem, match="missing name: needs several items that reach the same numbers"):
            parse_definition(data, "trial.json")


@pytest.mark.parametrize(("items", "least"), [(2, 1), (3, 2), (4, 2), (5, 3), (6, 3)])
def test_at_least_half_of_the_items_must_be_answered(items: int, least: int) -> None:
    listed = [ITEMS[0] | {"item": str(n)} for n in range(1, items + 1)]

    def needing(needs: int) -> dict[str, Any]:
        missing = {"name": "prorate", "needs": needs, "basis": "none", "source": "s"}
        rule = {"name": "mean", "items": [item["item"] for item in listed]}
        scale = scale_data(rule=rule, range=[0, 10], missing=missing)
        return definition_data(items=listed, scales=[scale], thresholds=[])

    assert parse_definition(needing(least), "trial.json").scales[0].missing.needs == least
    with pytest.raises(DataProblem) as caught:
        parse_definition(needing(least - 1), "trial.json")
    assert caught.value.place == "trial.json scales[0] missing needs"
    half = f"must be at least half of the {items} items"
    assert caught.value.reason == (half if least > 1 else "must be a whole number from 1 to 1")
