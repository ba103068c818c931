"""A plan asks only what exists and can be sent; what is wrong is told with its place."""

from typing import Any

import pytest

from scoring.data_reader import DataProblem
from scoring.definition import Definition
from scoring.parse import parse_definition
from scoring.plan_parts import check_plan_parts, part_items
from tests.scoring.making import definition_data, trial

FIRST = {"item": "1", "type": "choice", "codes": [1, 0], "topic": "t"}
FORM = [FIRST, FIRST | {"item": "2", "asked_if": {"item": "1", "codes": [1]}}, FIRST | {"item": "3"}]
EXAMINED = [FIRST | {"found_by": "examiner"}, *definition_data()["items"][1:]]


def made(name: str, **changes: Any) -> Definition:
    return parse_definition(definition_data(id=name, **changes), "trial.json")


KNOWN = {
    each.spec: each
    for each in (
        trial(),
        made("form", kind="form", items=FORM, scales=[], thresholds=[]),
        made("draft", status="unverified"),
        made("examined", items=EXAMINED),
        made("owned", status="needs_permission", licence={"terms": "ask", "source": "s", "needs_permission": True}),
    )
}


def check(*parts: dict[str, Any], call: tuple[str, ...] = ("trial@1/1",)) -> None:
    check_plan_parts({"timepoints": [{"parts": list(parts)}], "phone_call": list(call)}, KNOWN, "plan.json")


def asks(spec: str, *items: str) -> dict[str, Any]:
    return {"instrument": spec, "items": list(items)} if items else {"instrument": spec}


def test_a_plan_in_order() -> None:
    check(asks("trial@1"), asks("form@1", "1", "2"), call=("trial@1/3", "form@1/2"))
    check(asks("form@1", "3"))
    check(asks("form@1"))


@pytest.mark.parametrize(
    ("parts", "call", "said"),
    [
        ([asks("none@1")], "trial@1/1", "timepoints[0] parts[0] instrument: 'none@1' is no instrument"),
        (
            [asks("trial@1"), asks("draft@1")],
            "trial@1/1",
            "timepoints[0] parts[1] instrument: draft@1 cannot be sent: it is unverified",
        ),
        (
            [asks("examined@1")],
            "trial@1/1",
            "timepoints[0] parts[0] instrument: examined@1 cannot be sent: an examiner finds some of its items",
        ),
        (
            [asks("owned@1")],
            "trial@1/1",
            "timepoints[0] parts[0] instrument: owned@1 cannot be sent: it needs its owner's permission, and no licensed text is "
            "installed in every language of the clinic",
        ),
        ([asks("trial@1")] * 2, "trial@1/1", "timepoints[0] parts: holds an instrument twice"),
        ([asks("trial@1", "1")], "trial@1/1", "timepoints[0] parts[0] items: trial@1 is asked whole"),
        ([asks("form@1", "9")], "trial@1/1", "timepoints[0] parts[0] items: '9' is not an item of form@1"),
        (
            [asks("form@1", "2", "3")],
            "trial@1/1",
            "timepoints[0] parts[0] items: '2' hangs on '1', which is not there",
        ),
        (
            [asks("form@1", "3", "1")],
            "trial@1/1",
            "timepoints[0] parts[0] items: must stand in the order of the definition",
        ),
        ([asks("trial@1")], "trial@1/9", "phone_call: 'trial@1/9' is no item"),
        ([asks("trial@1")], "none@1/1", "phone_call: 'none@1' is no instrument"),
        ([asks("trial@1")], "draft@1/1", "phone_call: draft@1 cannot be sent: it is unverified"),
        (
            [asks("trial@1") | {"minutes": 3}],
            "trial@1/1",
            "timepoints[0] parts[0] minutes: is not understood here; known: instrument, items",
        ),
    ],
)
def test_what_a_plan_cannot_ask_is_told_with_its_place(parts: list[dict[str, Any]], call: str, said: str) -> None:
    with pytest.raises(DataProblem) as caught:
        check(*parts, call=(call,))
    assert str(caught.value) == f"plan.json {said}"


def test_the_items_of_a_part_stand_in_the_order_of_the_definition() -> None:
    form = KNOWN["form@1"]
    assert part_items(form, None) == ("1", "2", "3")
    assert part_items(form, ["3", "1"]) == ("1", "3")
    assert part_items(form, ()) == ()
