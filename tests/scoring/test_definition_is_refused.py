"""A definition that is not fully understood is refused, with the place and the reason."""

from typing import Any

import pytest

from scoring.parse import parse_definition
from scoring.reading import DataProblem
from tests.scoring.making import definition_data, scale_data, threshold_data, trial

CHOICE = {"item": "1", "type": "choice", "codes": [1, 0], "topic": "choice"}
SCALE = {"item": "3", "type": "scale", "min": 0, "max": 10, "topic": "scale"}


def refusal(data: object) -> DataProblem:
    with pytest.raises(DataProblem) as caught:
        parse_definition(data, "trial.json")
    return caught.value


def of_item(**changes: Any) -> dict[str, Any]:
    """A definition whose second item is changed."""
    return definition_data(
        items=[CHOICE, SCALE, {"item": "5", "type": "choice", "codes": [1, 0], "topic": "t"} | changes]
    )


def of_scale(**changes: Any) -> dict[str, Any]:
    return definition_data(scales=[scale_data(**changes)])


def of_threshold(**changes: Any) -> dict[str, Any]:
    return definition_data(thresholds=[threshold_data(**changes)])


def test_the_definition_that_the_others_change_is_accepted() -> None:
    definition = trial()
    assert definition.spec == "trial@1"
    assert list(definition.by_item["2"].numbers) == list(range(0, 101, 5))
    assert definition.by_item["3"].not_applicable


@pytest.mark.parametrize(
    ("data", "place", "reason"),
    [
        ([], "trial.json", "must be an object"),
        (definition_data(colour="red"), "trial.json colour", "is not understood"),
        ({k: v for k, v in definition_data().items() if k != "licence"}, "trial.json licence", "is missing"),
        (definition_data(id="Trial"), "trial.json id", "does not have the form"),
        (definition_data(version="01"), "trial.json version", "does not have the form"),
        (definition_data(version=1), "trial.json version", "must be a text"),
        (definition_data(kind="quiz"), "trial.json kind", "is none of instrument, form"),
        (definition_data(kind="form"), "trial.json kind", "a form has no scales"),
        (definition_data(scales=[]), "trial.json scales", "must be a list with something"),
        (definition_data(side=1), "trial.json side", "must be true or false"),
        (definition_data(items=[CHOICE, CHOICE]), "trial.json items[1] item", "stands there twice"),
        (definition_data(scales=[scale_data(), scale_data()]), "trial.json scales", "stands there twice"),
        (definition_data(sources=["a", "a"]), "trial.json sources", "holds something twice"),
        (
            definition_data(licence={"terms": "ask", "source": "owner", "needs_permission": True}),
            "trial.json status",
            "cannot be usable",
        ),
        (definition_data(recall="not_known"), "trial.json status", "cannot be usable while the period"),
        (of_item(item="a"), "trial.json items[2] item", "does not have the form"),
        (of_item(type="slider"), "trial.json items[2] type", "is none of"),
        (of_item(min=0), "trial.json items[2] min", "is not understood"),
        (of_item(codes=[]), "trial.json items[2] codes", "must be a list with something"),
        (of_item(codes=[1, 1]), "trial.json items[2] codes", "holds something twice"),
        (of_item(codes=[1, True]), "trial.json items[2] codes[1]", "must be a whole number"),
        (of_item(codes=[1, 0.5]), "trial.json items[2] codes[1]", "must be a whole number"),
        (of_item(warning=[2]), "trial.json items[2] warning", "2 is not a code"),
        (of_item(asked_if={"item": "9", "codes": [1]}), "trial.json items[2] asked_if item", "not an earlier choice"),
        (of_item(asked_if={"item": "3", "codes": [1]}), "trial.json items[2] asked_if item", "not an earlier choice"),
        (of_item(asked_if={"item": "1", "codes": [7]}), "trial.json items[2] asked_if codes", "7 is not a code"),
        (
            definition_data(items=[{"item": "1", "type": "text", "max_length": 9, "topic": "t"}]),
            "trial.json items[0] identifying",
            "must be true",
        ),
        (
            definition_data(items=[{"item": "1", "type": "scale", "min": 5, "max": 5, "topic": "t"}]),
            "trial.json items[0] max",
            "must be a whole number from 6",
        ),
        (
            definition_data(items=[{"item": "1", "type": "integer", "min": 0, "max": 10, "step": 3, "topic": "t"}]),
            "trial.json items[0] step",
            "does not lead from 0 to 10",
        ),
        (of_scale(range=[0, 12]), "trial.json scales[0] range", "the rule reaches 0 to 11"),
        (of_scale(rule={"name": "median", "items": ["1"]}), "trial.json scales[0] rule name", "is none of sum, value"),
        (of_scale(rule={"name": "sum", "items": ["1", "1a"]}), "trial.json scales[0] rule items", "not an item with"),
        (of_scale(rule={"name": "sum", "items": ["1", "9"]}), "trial.json scales[0] rule items", "not an item with"),
        (of_scale(rule={"name": "value", "items": ["1", "3"]}), "trial.json scales[0] rule items", "takes one item"),
        (
            of_scale(missing={"name": "guess", "source": "s"}),
            "trial.json scales[0] missing name",
            "is none of complete",
        ),
        (
            of_scale(missing={"name": "complete", "value": 0, "source": "s"}),
            "trial.json scales[0] missing value",
            "is not understood",
        ),
        (
            of_scale(missing={"name": "fill", "value": 2, "source": "s"}),
            "trial.json scales[0] missing value",
            "not a value of every item",
        ),
        (of_threshold(scale="other"), "trial.json thresholds[0] scale", "is none of total"),
        (of_threshold(kind="best"), "trial.json thresholds[0] kind", "is none of mcid"),
        (of_threshold(value="2"), "trial.json thresholds[0] value", "must be a number"),
        (of_threshold(citation=""), "trial.json thresholds[0] citation", "does not have the form"),
        (of_threshold(n=0), "trial.json thresholds[0] n", "must be a whole number"),
    ],
)
def test_it_names_the_place_and_the_reason(data: object, place: str, reason: str) -> None:
    problem = refusal(data)
    assert problem.place == place
    assert reason in problem.reason


def test_a_scored_item_may_not_name_a_person() -> None:
    named = CHOICE | {"identifying": True}
    assert "name nobody" in refusal(definition_data(items=[named, SCALE])).reason
