"""An explanation from its first line to its last, and the reason of a score word for word."""

from typing import Any

import pytest

from scoring.answers import Answer, AnswerProblem, read_sheet
from scoring.definition import Definition
from scoring.explain import explain
from scoring.parse import parse_definition
from scoring.score import ScaleScore, score
from tests.scoring.making import definition_data, scale_data

SCALES: list[dict[str, Any]] = [
    {"item": name, "type": "scale", "min": 0, "max": 10, "topic": f"topic {name}"} for name in ("2", "3", "4")
]
ITEMS: list[dict[str, Any]] = [{"item": "1", "type": "choice", "codes": [1, 0], "topic": "whether"}, *SCALES]
HANGING = {**SCALES[0], "item": "5", "asked_if": {"item": "1", "codes": [1]}, "topic": "how much"}
LAST = {**SCALES[0], "item": "7", "topic": "topic 7"}
SPREAD = {"name": "prorate", "needs": 1, "basis": "none", "source": "from what was answered"}
DOUBLED = [
    {"name": "rescale", "of": ["2"], "from": [0, 10], "to": [0, 5]},
    {"name": "reverse", "of": ["2"], "range": [0, 5]},
]
PARTS = [
    scale_data(scale="total", title="Total", range=[0, 35], rule={"name": "sum", "scales": ["a", "b"]}),
    scale_data(
        scale="a", title="Part A", range=[0, 15], decimals=1, rule={"name": "sum", "items": ["2", "3"], "each": DOUBLED}
    ),
    scale_data(
        scale="b",
        title="Part B",
        range=[0, 20],
        better="lower",
        rule={"name": "sum", "items": ["4", "7"]},
        missing=SPREAD,
    ),
    scale_data(scale="same", title="The same", range=[0, 35], rule={"name": "value", "scales": ["total"]}),
]


def made(items: list[dict[str, Any]], scales: list[dict[str, Any]]) -> Definition:
    data = definition_data(items=items, scales=scales, thresholds=[], sources=["first source", "second source"])
    return parse_definition(data, "trial.json")


PARTED = made([*ITEMS, LAST], PARTS)


def by_scale(definition: Definition, **states: Any) -> dict[str, ScaleScore]:
    answers = {key.removeprefix("item_"): each for key, each in states.items()}
    return {each.scale: each for each in score(definition, answers)}


def test_every_line_of_it() -> None:
    answers = read_sheet(PARTED, {"2": 3, "3": 4, "4": 4})
    assert explain(PARTED, answers).splitlines() == [
        "Trial (trial@1), scoring version 1",
        "",
        "Answers",
        "    1  whether: not answered",
        "    2  topic 2: 3",
        "    3  topic 3: 4",
        "    4  topic 4: 4",
        "    7  topic 7: not answered",
        "",
        "Total (total)",
        "  method: sum of both",
        "  items without an answer: 7",
        "  3 of 4 items answered, b prorated (1 not answered); rule without a published source",
        "  from Part A (a), Part B (b)",
        "  7.5 + 8 = 15.5",
        "  result: 15.5 (shown as 16) in a range from 0 to 35, higher is better",
        "  missing answers: made for tests",
        "",
        "Part A (a)",
        "  method: sum of both",
        "  item 2: 3 x 1/2 = 1.5",
        "  item 2: 5 - 1.5 = 3.5",
        "  3.5 + 4 = 7.5",
        "  result: 7.5 in a range from 0 to 15, higher is better",
        "  missing answers: made for tests",
        "",
        "Part B (b)",
        "  method: sum of both",
        "  items without an answer: 7",
        "  1 of 2 items answered, prorated (1 not answered); rule without a published source",
        "  4 = 4",
        "  4 from 1 items, for all 2: x 2/1 = 8",
        "  result: 8 in a range from 0 to 20, lower is better",
        "  missing answers: from what was answered",
        "",
        "The same (same)",
        "  method: sum of both",
        "  items without an answer: 7",
        "  3 of 4 items answered, total prorated (1 not answered); rule without a published source",
        "  from Total (total)",
        "  result: 15.5 (shown as 16) in a range from 0 to 35, higher is better",
        "  missing answers: made for tests",
        "",
        "Sources",
        "  first source",
        "  second source",
    ]
    assert explain(PARTED, answers).endswith("  second source\n")


def test_blanks_are_listed_and_parts_without_a_value_named() -> None:
    lines = [line.strip() for line in explain(PARTED, {}).splitlines()]
    assert lines.count("items without an answer: 2, 3, 4, 7") == 2
    assert lines.count("result: no score") == 4
    assert by_scale(PARTED)["total"].reason == "0 of 4 items answered, no value for a, b (4 not answered)"


def test_two_parts_that_were_prorated_are_both_named() -> None:
    first = PARTS[2] | {"scale": "a", "rule": {"name": "sum", "items": ["2", "3"]}}
    definition = made([*ITEMS, LAST], [PARTS[0] | {"range": [0, 40]}, first | {"title": "Part A"}, PARTS[2]])
    answers = {"item_2": Answer("answered", 3), "item_4": Answer("answered", 4), "item_3": Answer("declined")}
    found = by_scale(definition, **answers, item_7=Answer("declined"))
    said = "2 of 4 items answered, a, b prorated (2 declined); rule without a published source"
    assert (found["total"].value, found["total"].status, found["total"].reason) == (14, "prorated", said)
    assert (found["total"].answered, found["total"].items) == (2, 4)


def test_one_part_that_was_prorated_makes_the_total_so() -> None:
    found = by_scale(PARTED, item_2=Answer("answered", 0), item_3=Answer("answered", 4), item_4=Answer("answered", 4))
    assert [found[each].status for each in ("total", "a", "b", "same")] == [
        "prorated",
        "scored",
        "prorated",
        "prorated",
    ]
    assert found["a"].reason is None


def test_every_state_of_a_blank_has_its_word() -> None:
    definition = made(ITEMS, [scale_data(range=[0, 30], rule={"name": "sum", "items": ["2", "3", "4"]})])
    words = {
        "declined": "declined",
        "skipped": "skipped",
        "not_reached": "not reached",
        "not_applicable": "not applicable",
        "not_given": "not answered",
    }
    given = Answer("answered", 1)
    reasons = {state: by_scale(definition, item_2=Answer(state), item_3=given)["total"].reason for state in words}
    blanks = {state: f"1 {word}, 1 not answered" for state, word in words.items()} | {"not_given": "2 not answered"}
    assert reasons == {state: f"1 of 3 items answered, all needed ({blank})" for state, blank in blanks.items()}


def test_too_few_answers_to_stand_for_the_rest() -> None:
    part = scale_data(range=[0, 30], rule={"name": "sum", "items": ["2", "3", "4"]}, missing=SPREAD | {"needs": 2})
    found = by_scale(made(ITEMS, [part]), item_2=Answer("answered", 1))
    assert found["total"].reason == "1 of 3 items answered, 2 needed (2 not answered)"
    assert found["total"].flags == ()


def test_an_answer_to_an_item_that_was_not_to_be_asked_is_refused() -> None:
    definition = made([*ITEMS, HANGING], [scale_data(range=[0, 10], rule={"name": "value", "items": ["5"]})])
    sheet: dict[str, object] = {"1": 0, "2": 1, "3": 1, "4": 1, "5": 1}
    with pytest.raises(AnswerProblem, match="item 5: is answered although item 1 did not lead to it"):
        read_sheet(definition, sheet)
    (found,) = score(definition, read_sheet(definition, sheet | {"1": 1}))
    assert (found.value, found.status, found.reason) == (1, "scored", None)


@pytest.mark.parametrize("left_out", [[], ["7"]])
def test_an_unknown_item_is_refused(left_out: list[str]) -> None:
    """Also where it makes up for an item that is left out."""
    sheet = {name: 1 for name in ("1", "2", "3", "4", "7", "9") if name not in left_out}
    with pytest.raises(AnswerProblem, match='item "9": is not an item of trial@1'):
        read_sheet(PARTED, sheet)


def test_the_steps_after_a_prorated_sum_begin_with_what_stands_for_the_whole() -> None:
    percent = {"name": "rescale", "from": [0, 20], "to": [0, 100]}
    rule = {"name": "sum", "items": ["2", "3"], "then": [percent]}
    definition = made(ITEMS, [scale_data(range=[0, 100], rule=rule, missing=SPREAD)])
    lines = [line.strip() for line in explain(definition, read_sheet(definition, {"2": 3})).splitlines()]
    told = lines.index("3 from 1 items, for all 2: x 2/1 = 6")
    assert lines[told + 1 : told + 3] == ["6 x 5 = 30", "result: 30 in a range from 0 to 100, higher is better"]


@pytest.mark.parametrize(
    ("rule", "most", "value"),
    [
        ({"name": "sum"}, 20, 9),
        ({"name": "mean"}, 10, 4.5),
        ({"name": "highest"}, 10, 7),
        ({"name": "weighted", "weights": [2, 1]}, 30, 11),
    ],
)
def test_a_rule_without_steps_is_still_that_rule(rule: dict[str, Any], most: int, value: float) -> None:
    definition = made(SCALES, [scale_data(range=[0, most], rule={**rule, "items": ["2", "3"]})])
    sheet: dict[str, object] = {"2": 2, "3": 7, "4": 5}
    assert score(definition, read_sheet(definition, sheet))[0].value == value
