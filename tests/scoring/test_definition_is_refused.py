"""A definition that is not fully understood is refused, with the place and the reason."""

from typing import Any

import pytest

from scoring.data_reader import DataProblem
from scoring.parse import parse_definition
from tests.scoring.making import definition_data, scale_data, threshold_data, trial

CHOICE = {"item": "1", "type": "choice", "codes": [1, 0], "topic": "choice"}
SCALE = {"item": "3", "type": "scale", "min": 0, "max": 10, "topic": "scale"}


BOUND = scale_data(scale="bound", title="Bound", missing={"name": "fill", "value": 0, "source": "made for tests"})


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


def of_norm(**changes: Any) -> dict[str, Any]:
    norm = {"scale": "total", "mean": 5, "sd": 1, "population": "p", "n": None, "citation": "c"}
    return definition_data(norms=[norm | changes])


def of_bound(**changes: Any) -> dict[str, Any]:
    """A scale that counts blanks as an answer is a bound of a score, and nothing was published about it."""
    return definition_data(scales=[scale_data(), BOUND], **changes)


def test_the_definition_that_the_others_change_is_accepted() -> None:
    definition = trial()
    assert definition.spec == "trial@1"
    assert list(definition.by_item["2"].numbers) == list(range(0, 101, 5))
    assert definition.by_item["3"].not_applicable


@pytest.mark.parametrize(
    ("data", "place", "reason"),
    [
        ([], "trial.json", "must be an object"),
        (
            definition_data(colour="red"),
            "trial.json colour",
            "is not understood here; known: id, version, title, kind, status, recall, side, items, scales, thresholds, "
            "licence, sources, norms, change_scale",
        ),
        ({k: v for k, v in definition_data().items() if k != "licence"}, "trial.json licence", "is missing"),
        (definition_data(id="Trial"), "trial.json id", '"Trial" does not have the form it should have'),
        (definition_data(version="01"), "trial.json version", '"01" does not have the form it should have'),
        (definition_data(version=1), "trial.json version", "must be a text"),
        (definition_data(kind="quiz"), "trial.json kind", '"quiz" is none of instrument, form'),
        (definition_data(kind="form"), "trial.json kind", "a form has no scales and no thresholds"),
        (definition_data(kind="form", scales=[]), "trial.json kind", "a form has no scales and no thresholds"),
        (
            definition_data(kind="form", thresholds=[]),
            "trial.json kind",
            "a form has no scales and no thresholds",
        ),
        (definition_data(scales=[]), "trial.json scales", "must be a list with something in it"),
        (definition_data(side=1), "trial.json side", "must be true or false"),
        (definition_data(items=[CHOICE, CHOICE]), "trial.json items[1] item", "'1' stands there twice"),
        (definition_data(scales=[scale_data(), scale_data()]), "trial.json scales", "'total' stands there twice"),
        (definition_data(sources=["a", "a"]), "trial.json sources", "holds something twice"),
        (
            definition_data(licence={"terms": "ask", "source": "owner", "needs_permission": True}),
            "trial.json status",
            "cannot be usable while the licence needs permission",
        ),
        (
            definition_data(recall="not_known"),
            "trial.json status",
            "cannot be usable while the period it asks about is not known",
        ),
        (of_item(item="a"), "trial.json items[2] item", '"a" does not have the form it should have'),
        (of_item(type="slider"), "trial.json items[2] type", '"slider" is none of choice, integer, scale, month, text'),
        (
            of_item(min=0),
            "trial.json items[2] min",
            "is not understood here; known: item, type, topic, asked_if, not_applicable, identifying, found_by, codes, warning, emergency",
        ),
        (of_item(codes=[]), "trial.json items[2] codes", "must be a list with something in it"),
        (of_item(codes=[1, 1]), "trial.json items[2] codes", "holds something twice"),
        (of_item(codes=[1, True]), "trial.json items[2] codes[1]", "must be a whole number from -1000 to 1000"),
        (of_item(codes=[1, 0.5]), "trial.json items[2] codes[1]", "must be a whole number from -1000 to 1000"),
        (of_item(warning=[2]), "trial.json items[2] warning", "2 is not a code of the item"),
        (of_item(warning=[1], emergency=[0]), "trial.json items[2] emergency", "0 is not a warning of the item"),
        (of_item(emergency=[1]), "trial.json items[2] warning", "is missing"),
        (
            of_item(asked_if={"item": "9", "codes": [1]}),
            "trial.json items[2] asked_if item",
            "'9' is not an earlier choice item",
        ),
        (
            of_item(asked_if={"item": "3", "codes": [1]}),
            "trial.json items[2] asked_if item",
            "'3' is not an earlier choice item",
        ),
        (
            of_item(asked_if={"item": "1", "codes": [7]}),
            "trial.json items[2] asked_if codes",
            "7 is not a code of the item",
        ),
        (
            definition_data(items=[{"item": "1", "type": "text", "max_length": 9, "topic": "t"}]),
            "trial.json items[0] identifying",
            "must be true: a text can name a person",
        ),
        (
            definition_data(items=[{"item": "1", "type": "scale", "min": 5, "max": 5, "topic": "t"}]),
            "trial.json items[0] max",
            "must be a whole number from 6 to 100000",
        ),
        (
            definition_data(items=[{"item": "1", "type": "integer", "min": 0, "max": 10, "step": 3, "topic": "t"}]),
            "trial.json items[0] step",
            "does not lead from 0 to 10",
        ),
        (of_scale(range=[0, 12]), "trial.json scales[0] range", "the rule reaches 0 to 11"),
        (
            of_scale(rule={"name": "median", "items": ["1"]}),
            "trial.json scales[0] rule name",
            '"median" is none of sum, value, mean, highest, weighted',
        ),
        (
            of_scale(rule={"name": "sum", "items": ["1", "1a"]}),
            "trial.json scales[0] rule items",
            "'1a' is not an item with numbers that name nobody",
        ),
        (
            of_scale(rule={"name": "sum", "items": ["1", "9"]}),
            "trial.json scales[0] rule items",
            "'9' is not an item with numbers that name nobody",
        ),
        (
            of_scale(rule={"name": "value", "items": ["1", "3"]}),
            "trial.json scales[0] rule items",
            "value takes one item or one scale",
        ),
        (
            of_scale(missing={"name": "guess", "source": "s"}),
            "trial.json scales[0] missing name",
            '"guess" is none of complete, fill, prorate, applicable',
        ),
        (
            of_scale(missing={"name": "complete", "value": 0, "source": "s"}),
            "trial.json scales[0] missing value",
            "is not understood here; known: name, source",
        ),
        (
            of_scale(missing={"name": "fill", "value": 2, "source": "s"}),
            "trial.json scales[0] missing value",
            "2 is not a value of every item",
        ),
        (
            of_threshold(treatment="surgery"),
            "trial.json thresholds[0] treatment",
            '"surgery" is none of arthroplasty, mixed, not_stated, other',
        ),
        (
            of_threshold(implants=["knee"]),
            "trial.json thresholds[0] implants",
            '"knee" is none of resurfacing_hemi, resurfacing_with_glenoid, stemmed_hemi, stemless_hemi, anatomic_total, reverse',
        ),
        (of_threshold(implants=[]), "trial.json thresholds[0] implants", "must be a list with something in it"),
        (of_threshold(value=0), "trial.json thresholds[0] value", "is no change on a scale from 0 to 11"),
        (of_threshold(value=-2.3), "trial.json thresholds[0] value", "is no change on a scale from 0 to 11"),
        (of_threshold(value=11.5), "trial.json thresholds[0] value", "is no change on a scale from 0 to 11"),
        (of_threshold(kind="pass", value=-1), "trial.json thresholds[0] value", "is no score on a scale from 0 to 11"),
        (of_threshold(kind="pass", value=840), "trial.json thresholds[0] value", "is no score on a scale from 0 to 11"),
        (of_threshold(plus_minus=0), "trial.json thresholds[0] plus_minus", "must be above 0"),
        (of_threshold(plus_minus=-1), "trial.json thresholds[0] plus_minus", "must be above 0"),
        (
            of_threshold(follow_up=" "),
            "trial.json thresholds[0] follow_up",
            '" " does not have the form it should have',
        ),
        (
            of_threshold(follow_up_days=0),
            "trial.json thresholds[0] follow_up_days",
            "must be a whole number from 1 to 36525",
        ),
        (
            of_threshold(confidence_percent=90),
            "trial.json thresholds[0] confidence_percent",
            "belongs to a detectable_change only",
        ),
        *(
            (
                of_threshold(kind="detectable_change", confidence_percent=percent),
                "trial.json thresholds[0] confidence_percent",
                "must be a whole number from 1 to 99",
            )
            for percent in (0, 100)
        ),
        *(
            (of_threshold(limits=limits), "trial.json thresholds[0] limits", "must be two numbers")
            for limits in ([1], [1, 2, 3], [True, 3], [1, False], ["1", 3], [1, None])
        ),
        *(
            (
                of_threshold(limits=limits),
                "trial.json thresholds[0] limits",
                "must be a lower and an upper one with the value between them",
            )
            for limits in ([2.5, 4], [1, 2.5], [3, 4], [1, 2], [4, 1])
        ),
        (of_threshold(limits=7), "trial.json thresholds[0] limits", "must be a list with something in it"),
        (of_threshold(distribution_based=1), "trial.json thresholds[0] distribution_based", "must be true or false"),
        (of_threshold(range_end="yes"), "trial.json thresholds[0] range_end", "must be true or false"),
        (
            definition_data(thresholds=[threshold_data(), threshold_data(anchor="another")]),
            "trial.json thresholds[1] value",
            "is there already, with the same people and citation",
        ),
        (of_norm(mean=500), "trial.json norms[0] mean", "is no score on a scale from 0 to 11"),
        (of_norm(sd=-3), "trial.json norms[0] sd", "must be above 0"),
        (
            of_bound(thresholds=[threshold_data(scale="bound")]),
            "trial.json thresholds[0] scale",
            '"bound" is none of total',
        ),
        (
            definition_data(status="needs_permission"),
            "trial.json status",
            "cannot need permission while the licence does not",
        ),
        (of_bound(change_scale="bound"), "trial.json change_scale", '"bound" is none of total'),
        (
            definition_data(scales=[BOUND, scale_data()]),
            "trial.json scales[0] missing name",
            "the first scale is the main one and cannot be a bound",
        ),
        *(
            (
                definition_data(scales=[scale_data(), scale_data(scale="second", title=title)]),
                "trial.json scales[1] title",
                "is the title of another scale",
            )
            for title in ("Total", "total", " Total", "Total ")
        ),
        *(
            (of_scale(range=limits), "trial.json scales[0] range", "must be 2 numbers")
            for limits in ([False, 11], [0, True], [False, True])
        ),
        (of_scale(range=[0, 11, 11]), "trial.json scales[0] range", "the rule reaches 0 to 11"),
        (of_scale(range=["0", 11]), "trial.json scales[0] range", "the rule reaches 0 to 11"),
        (definition_data(change_scale="other"), "trial.json change_scale", '"other" is none of total'),
        (of_threshold(scale="other"), "trial.json thresholds[0] scale", '"other" is none of total'),
        (
            of_threshold(kind="best"),
            "trial.json thresholds[0] kind",
            '"best" is none of mcid, scb, detectable_change, pass',
        ),
        (of_threshold(value="2"), "trial.json thresholds[0] value", "must be a number"),
        (of_threshold(citation=""), "trial.json thresholds[0] citation", '"" does not have the form it should have'),
        (of_threshold(n=0), "trial.json thresholds[0] n", "must be a whole number from 1 to 10000000"),
    ],
)
def test_it_names_the_place_and_the_reason(data: object, place: str, reason: str) -> None:
    problem = refusal(data)
    assert problem.place == place
    assert problem.reason == reason


def test_what_differs_by_little_from_what_is_refused_is_accepted() -> None:
    assert trial(scales=[scale_data(range=[0.0, 11.0])]).scales[0].range == (0, 11)
    assert trial(scales=[scale_data(), scale_data(scale="second", title="Total 2")]).scales[1].title == "Total 2"
    last = trial(scales=[scale_data(), BOUND, scale_data(scale="second", title="Second")], change_scale="second")
    assert last.scale_of_change.scale == "second"


def test_a_scored_item_may_not_name_a_person() -> None:
    named = CHOICE | {"identifying": True}
    assert "name nobody" in refusal(definition_data(items=[named, SCALE])).reason
