"""A rule, a step or a rule for blanks that is not fully understood is refused, with the place and the reason."""

from typing import Any

import pytest

from scoring.parse import parse_definition
from scoring.reading import DataProblem
from tests.scoring.making import definition_data, scale_data

ITEMS = [{"item": str(n), "type": "scale", "min": 0, "max": 10, "topic": "t"} for n in (1, 2, 3)]
CHOICE = {"item": "4", "type": "choice", "codes": [1, 0], "topic": "t"}
NEEDED = {"name": "complete", "source": "s"}
SUM = {"name": "sum", "items": ["1", "2", "3"]}
VALUE = {"name": "value", "items": ["1"]}


def of(rule: object, limits: list[float], missing: object = NEEDED, *more: dict[str, Any]) -> dict[str, Any]:
    """A definition whose first scale has this rule."""
    scales = [scale_data(rule=rule, range=limits, missing=missing), *more]
    return definition_data(items=[*ITEMS, CHOICE], scales=scales, thresholds=[])


def then(*steps: dict[str, Any]) -> dict[str, Any]:
    return VALUE | {"then": list(steps)}


def part(name: str, rule: dict[str, Any], **changes: Any) -> dict[str, Any]:
    return scale_data(scale=name, rule=rule, missing=NEEDED) | changes


PART = part("part", SUM, range=[0, 30])


@pytest.mark.parametrize(
    "data",
    [
        of(SUM, [0, 30], {"name": "prorate", "needs": 2, "basis": "none", "source": "s"}),
        of(SUM | {"name": "mean"}, [0, 10]),
        of(SUM | {"name": "highest"}, [0, 10]),
        of(SUM | {"name": "weighted", "weights": [1, 2, 0.5]}, [0, 35]),
        of(then({"name": "reverse", "range": [0, 10]}, {"name": "rescale", "from": [0, 10], "to": [20, 120]}), [20, 120]),
        of(then({"name": "rescale", "from": [-5, 15], "to": [0, 10]}), [2.5, 7.5]),
        of(then({"name": "rescale", "from": [0, 10], "to": [0, 1]}, {"name": "round"}), [0, 1]),
        of(then({"name": "limit", "high": 7.5}), [0, 7.5]),
        of(then({"name": "band", "up_to": [[3, 2], [6, 1], [10, 0]]}), [0, 2]),
        of(then({"name": "band", "from": [[0, 0], [3, 1], [6, 2.5]]}), [0, 2.5]),
        of(then({"name": "table", "rows": [[n, 50 - n / 2] for n in range(11)]}), [45, 50]),
        of({"name": "sum", "items": ["1", "4"], "each": [{"name": "rescale", "of": ["4"], "from": [0, 1], "to": [0, 5]}]}, [0, 15]),
        of({"name": "mean", "scales": ["part", "other"]}, [0, 20], NEEDED, PART, part("other", VALUE, range=[0, 10])),
    ],
)  # fmt: skip
def test_what_is_understood_is_accepted(data: dict[str, Any]) -> None:
    assert parse_definition(data, "trial.json").scales[0].scale == "total"


@pytest.mark.parametrize(
    ("data", "place", "reason"),
    [
        (of(SUM | {"scales": ["part"]}, [0, 30], NEEDED, PART), "rule items", "either items or scales must be there"),
        (of({"name": "sum"}, [0, 30]), "rule items", "either items or scales must be there"),
        (of(SUM | {"of": ["1"]}, [0, 30]), "rule of", "is not understood here; known: name, items, scales, weights, each, then"),
        (of(SUM | {"weights": [1, 1, 1]}, [0, 30]), "rule weights", "sum takes no weights"),
        (of(SUM | {"name": "weighted"}, [0, 30]), "rule weights", "is missing"),
        (of(SUM | {"name": "weighted", "weights": [1, 2]}, [0, 30]), "rule weights", "must be 3 numbers"),
        (of(SUM | {"name": "weighted", "weights": [1, 2, 0]}, [0, 30]), "rule weights", "must be positive numbers"),
        (of(SUM | {"name": "weighted", "weights": [1, 2, True]}, [0, 30]), "rule weights", "must be positive numbers"),
        (
            of({"name": "sum", "scales": ["nothing"]}, [0, 30]),
            "rule scales",
            "'nothing' is no scale to build on: unknown, a bound, or built on this one",
        ),
        (
            of({"name": "sum", "scales": ["total"]}, [0, 30]),
            "rule scales",
            "'total' is no scale to build on: unknown, a bound, or built on this one",
        ),
        (
            of({"name": "sum", "scales": ["part"]}, [0, 30], NEEDED, part("part", {"name": "sum", "scales": ["total"]})),
            "rule scales",
            "'part' is no scale to build on: unknown, a bound, or built on this one",
        ),
        (
            of({"name": "sum", "scales": ["part"]}, [0, 30], NEEDED, PART | {"missing": {"name": "fill", "value": 0, "source": "s"}}),
            "rule scales",
            "'part' is no scale to build on: unknown, a bound, or built on this one",
        ),
        (
            of({"name": "value", "scales": ["part", "other"]}, [0, 1], NEEDED, PART, PART | {"scale": "other"}),
            "rule scales",
            "value takes one item or one scale",
        ),
        (
            of({"name": "sum", "scales": ["part"]}, [0, 30], {"name": "fill", "value": 0, "source": "s"}, PART),
            "missing name",
            "a scale over scales is complete or has no value",
        ),
        (of(then({"name": "square"}), [0, 1]), "rule then[0] name", '"square" is none of reverse, rescale, band, table, round, limit'),
        (of(then({"name": "round", "to": 5}), [0, 1]), "rule then[0] to", "is not understood here; known: name"),
        (of(then({"name": "round", "of": ["1"]}), [0, 1]), "rule then[0] of", "is not understood here; known: name"),
        (of(then({"name": "reverse", "range": [0, 9]}), [0, 1]), "rule then[0] range", "what is reversed runs from 0 to 10"),
        (of(then({"name": "reverse", "range": [0]}), [0, 1]), "rule then[0] range", "must be 2 numbers"),
        (of(then({"name": "reverse", "range": [0, "10"]}), [0, 1]), "rule then[0] range", "must be 2 numbers"),
        (of(then({"name": "rescale", "from": [0, 9], "to": [0, 1]}), [0, 1]), "rule then[0] from", "what is rescaled runs from 0 to 10"),
        (of(then({"name": "rescale", "from": [10, 0], "to": [0, 1]}), [0, 1]), "rule then[0] from", "what is rescaled runs from 0 to 10"),
        (of(then({"name": "rescale", "from": [0, 10], "to": [1, 1]}), [0, 1]), "rule then[0] to", "must be two different numbers"),
        (of(then({"name": "limit", "high": 10}), [0, 10]), "rule then[0] high", "what is limited runs from 0 to 10"),
        (of(then({"name": "band"}), [0, 1]), "rule then[0] up_to", "either this or from must be there"),
        (
            of(then({"name": "band", "up_to": [[10, 1]], "from": [[0, 1]]}), [0, 1]),
            "rule then[0] up_to",
            "either this or from must be there",
        ),
        (of(then({"name": "band", "up_to": [[5, 0], [9, 1]]}), [0, 1]), "rule then[0] up_to", "what is banded runs from 0 to 10"),
        (of(then({"name": "band", "from": [[1, 0], [9, 1]]}), [0, 1]), "rule then[0] from", "what is banded runs from 0 to 10"),
        (of(then({"name": "band", "up_to": [[5, 0], [5, 1], [10, 2]]}), [0, 2]), "rule then[0] up_to", "must rise from row to row"),
        (
            of(then({"name": "band", "up_to": [[3, 0], [5, 2], [10, 1]]}), [0, 2]),
            "rule then[0] up_to",
            "must give numbers that rise or fall throughout",
        ),
        (
            of(then({"name": "table", "rows": [[0, 1], [1, 2]]}), [1, 2]),
            "rule then[0] rows",
            "must hold every whole number from 0 to 10, in order",
        ),
        (of(then({"name": "table", "rows": [[0, 1], [1, 2, 3]]}), [1, 2]), "rule then[0] rows[1]", "must be 2 numbers"),
        (
            of(then({"name": "rescale", "from": [0, 10], "to": [0, 5]}, {"name": "table", "rows": [[n, n] for n in range(6)]}), [0, 5]),
            "rule then[1] name",
            "a table takes whole numbers only",
        ),
        (
            of(SUM | {"each": [{"name": "reverse", "of": ["4"], "range": [0, 1]}]}, [0, 30]),
            "rule each[0] of",
            "'4' does not stand in the rule",
        ),
        (
            of({"name": "sum", "items": ["1", "4"], "each": [{"name": "reverse", "range": [0, 10]}]}, [0, 11]),
            "rule each[0] range",
            "what is reversed runs from 0 to 1",
        ),
        (of(SUM, [0, 30], {"name": "prorate", "basis": "none", "source": "s"}), "missing needs", "is missing"),
        (
            of(SUM, [0, 30], {"name": "prorate", "needs": 3, "basis": "none", "source": "s"}),
            "missing needs",
            "must be a whole number from 1 to 2",
        ),
        (of(SUM, [0, 30], {"name": "prorate", "needs": 2, "source": "s"}), "missing basis", "is missing"),
        (
            of(SUM, [0, 30], {"name": "prorate", "needs": 2, "basis": "hearsay", "source": "s"}),
            "missing basis",
            '"hearsay" is none of published, form_copy, memory, none',
        ),
        (
            of(SUM | {"name": "highest"}, [0, 10], {"name": "prorate", "needs": 2, "basis": "none", "source": "s"}),
            "missing name",
            "highest has no meaning for some of its items",
        ),
        (
            of({"name": "sum", "items": ["1", "4"]}, [0, 11], {"name": "prorate", "needs": 1, "basis": "none", "source": "s"}),
            "missing name",
            "needs several items that reach the same numbers",
        ),
        (
            of(SUM, [0, 30], {"name": "applicable", "needs": 2, "basis": "none", "source": "s"}),
            "missing name",
            "no item of the rule offers not_applicable",
        ),
    ],
)  # fmt: skip
def test_it_names_the_place_and_the_reason(data: dict[str, Any], place: str, reason: str) -> None:
    with pytest.raises(DataProblem) as caught:
        parse_definition(data, "trial.json")
    assert caught.value.place.removeprefix("trial.json scales[0] ") == place
    assert caught.value.reason == reason


def test_a_table_after_a_prorated_sum_is_refused() -> None:
    """Five of six answered give sums that are not whole; a table has no row for them."""
    rule = SUM | {"then": [{"name": "table", "rows": [[n, n] for n in range(31)]}]}
    prorated = {"name": "prorate", "needs": 2, "basis": "none", "source": "s"}
    with pytest.raises(DataProblem, match="whole numbers only"):
        parse_definition(of(rule, [0, 30], prorated), "trial.json")
    assert parse_definition(of(rule, [0, 30]), "trial.json").scales[0].range == (0, 30)


NORM = {"scale": "total", "mean": 5, "sd": 1.5, "population": "nobody", "n": 12, "citation": "made for tests"}


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"scale": "other"}, "norms[0] scale"),
        ({"mean": "5"}, "norms[0] mean"),
        ({"n": 0}, "norms[0] n"),
        ({"colour": "red"}, "norms[0] colour"),
    ],
)
def test_a_norm_that_is_not_understood_is_refused(changes: dict[str, Any], place: str) -> None:
    assert parse_definition(definition_data(norms=[NORM]), "trial.json").norms[0].mean == 5
    with pytest.raises(DataProblem) as caught:
        parse_definition(definition_data(norms=[NORM | changes]), "trial.json")
    assert caught.value.place == f"trial.json {place}"


def test_who_finds_an_item_is_the_patient_or_an_examiner() -> None:
    found = [CHOICE | {"found_by": "examiner"}, *ITEMS]
    definition = parse_definition(
        definition_data(items=found, scales=[part("total", SUM, range=[0, 30])]), "trial.json"
    )
    assert definition.status == "usable"
    assert not definition.sendable
    with pytest.raises(DataProblem, match="is none of patient, examiner"):
        parse_definition(definition_data(items=[CHOICE | {"found_by": "nurse"}]), "trial.json")


def test_blanks_are_spread_over_two_items_but_not_over_one() -> None:
    prorated = {"name": "prorate", "needs": 1, "basis": "none", "source": "s"}
    two = parse_definition(of(SUM | {"items": ["1", "2"]}, [0, 20], prorated), "trial.json")
    assert two.scales[0].missing.needs == 1
    with pytest.raises(DataProblem, match="missing name: needs several items that reach the same numbers"):
        parse_definition(of(SUM | {"items": ["1"]}, [0, 10], prorated), "trial.json")


def test_one_item_that_may_not_apply_is_enough_for_a_rule_of_what_applies() -> None:
    applies = {"name": "applicable", "needs": 1, "basis": "none", "source": "s"}
    data = of(SUM, [0, 30], applies)
    data["items"] = [ITEMS[0] | {"not_applicable": True}, *ITEMS[1:]]
    assert parse_definition(data, "trial.json").scales[0].missing.name == "applicable"
