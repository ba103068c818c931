"""A rule, a step or a rule for blanks that is not fully understood is refused, with the place and the reason."""

from typing import Any

import pytest

from scoring.data_reader import DataProblem
from scoring.parse import parse_definition
from tests.scoring.making import definition_data, scale_data

ITEMS = [{"item": str(n), "type": "scale", "min": 0, "max": 10, "topic": "t"} for n in (1, 2, 3)]
FIVE = ITEMS[0] | {"item": "5"}
CHOICE = {"item": "4", "type": "choice", "codes": [1, 0], "topic": "t"}
NEEDED = {"name": "complete", "source": "s"}
SUM = {"name": "sum", "items": ["1", "2", "3"]}
VALUE = {"name": "value", "items": ["1"]}


def of(rule: object, limits: list[float], missing: object = NEEDED, *more: dict[str, Any]) -> dict[str, Any]:
    """A definition whose first scale has this rule."""
    scales = [scale_data(rule=rule, range=limits, missing=missing), *more]
    return definition_data(items=[*ITEMS, CHOICE, FIVE], scales=scales, thresholds=[])


def then(*steps: dict[str, Any]) -> dict[str, Any]:
    return VALUE | {"then": list(steps)}


def part(name: str, rule: dict[str, Any], **changes: Any) -> dict[str, Any]:
    return scale_data(scale=name, title=f"Scale {name}", rule=rule, missing=NEEDED) | changes


PART = part("part", SUM, range=[0, 30])
OTHER = part("other", {"name": "value", "items": ["5"]}, range=[0, 10])


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
        of({"name": "mean", "scales": ["part", "other"]}, [0, 20], NEEDED, PART, OTHER),
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
            of({"name": "value", "scales": ["part", "other"]}, [0, 1], NEEDED, PART, OTHER),
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


@pytest.mark.parametrize(
    ("rule", "number"),
    [
        (then({"name": "band", "up_to": [[6, 3], [10, 3]]}), 3),
        (then({"name": "table", "rows": [[n, 2.5] for n in range(11)]}), 2.5),
        (then({"name": "rescale", "from": [0, 100], "to": [0, 4]}, {"name": "round"}), 0),
    ],
)
def test_a_scale_that_is_always_the_same_is_refused(rule: dict[str, Any], number: float) -> None:
    with pytest.raises(DataProblem) as caught:
        parse_definition(of(rule, [number, number]), "trial.json")
    assert str(caught.value) == f"trial.json scales[0] range: the rule gives nothing but {number}"


def over(*scales: str, **more: Any) -> dict[str, Any]:
    return {"name": "sum", "scales": list(scales), **more}


ONE_AND_FIVE = part("other", {"name": "sum", "items": ["5", "2"]}, range=[0, 20])
CHAIN = part("chain", over("other"), range=[0, 20])


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (of(over("part", "other"), [0, 50], NEEDED, PART, ONE_AND_FIVE), "item '2' counts twice: in 'part' and in 'other'"),
        (of(over("other", "part"), [0, 50], NEEDED, PART, ONE_AND_FIVE), "item '2' counts twice: in 'other' and in 'part'"),
        (of(over("part", "chain"), [0, 50], NEEDED, PART, ONE_AND_FIVE, CHAIN), "item '2' counts twice: in 'part' and in 'chain'"),
        (of(over("other", "chain"), [0, 40], NEEDED, ONE_AND_FIVE, CHAIN), "item '5' counts twice: in 'other' and in 'chain'"),
    ],
)  # fmt: skip
def test_an_item_counts_once_in_a_scale(data: dict[str, Any], reason: str) -> None:
    with pytest.raises(DataProblem) as caught:
        parse_definition(data, "trial.json")
    assert caught.value.place == "trial.json scales[0] rule scales"
    assert caught.value.reason == reason


def test_an_item_may_count_in_two_scales_that_nothing_brings_together() -> None:
    data = of(over("part"), [0, 30], NEEDED, PART, ONE_AND_FIVE, CHAIN)
    assert len(parse_definition(data, "trial.json").scales) == 4


FALLS = {"name": "rescale", "from": [0, 10], "to": [60, 12]}
RISES = {"name": "rescale", "from": [0, 10], "to": [12, 60]}
BACK = {"name": "reverse", "range": [12, 60]}


@pytest.mark.parametrize(
    ("rule", "limits", "turned"),
    [
        ({"then": [FALLS]}, [12, 60], True),
        ({"each": [FALLS]}, [12, 60], True),
        ({"each": [FALLS], "then": [BACK]}, [12, 60], False),
        ({"then": [FALLS, BACK]}, [12, 60], False),
        ({"then": [RISES]}, [12, 60], False),
        ({"then": [RISES, BACK]}, [12, 60], True),
        ({}, [0, 10], False),
        ({"then": [{"name": "table", "rows": [[n, 5 if n < 10 else 4] for n in range(11)]}]}, [4, 5], True),
        ({"then": [{"name": "table", "rows": [[n, 5 if n < 10 else 6] for n in range(11)]}]}, [5, 6], False),
        ({"name": "weighted", "weights": [2]}, [0, 20], False),
    ],
)
@pytest.mark.parametrize("better", ["higher", "lower"])
def test_a_scale_over_one_scale_is_better_where_that_one_is(
    rule: dict[str, Any], limits: list[float], turned: bool, better: str
) -> None:
    opposite = {"higher": "lower", "lower": "higher"}
    right = opposite[better] if turned else better
    first = OTHER | {"better": better}
    last = part("last", {"name": "value", "scales": ["other"]} | rule, range=limits, better=right)
    assert parse_definition(definition_data(items=[FIVE], scales=[first, last], thresholds=[]), "trial.json").scales
    wrong = last | {"better": opposite[right]}
    with pytest.raises(DataProblem) as caught:
        parse_definition(definition_data(items=[FIVE], scales=[wrong, first], thresholds=[]), "trial.json")
    said = f"trial.json scales[0] better: must be {right}, as this scale follows from 'other'"
    assert str(caught.value) == said


@pytest.mark.parametrize("better", ["higher", "lower"])
def test_where_several_come_together_or_an_item_is_read_the_file_says_what_is_better(better: str) -> None:
    turned = part("turned", VALUE | {"then": [{"name": "reverse", "range": [0, 10]}]}, range=[0, 10], better=better)
    total = part("total", over("turned", "other"), range=[0, 20], better=better)
    chain = part("chain", over("total"), range=[0, 20], better=better)
    data = definition_data(items=[*ITEMS, FIVE], scales=[total, turned, OTHER, chain], thresholds=[])
    assert [each.better for each in parse_definition(data, "trial.json").scales][:2] == [better, better]
