"""The parts of a form are checked against what the form asks; every fault is told at once, by place."""

from datetime import date
from typing import Any

import pytest

from scoring.answers import AnswerProblem
from server.forms.asked import AskedPart
from server.forms.check import check_answers
from tests.forms.making import AT, answered, part, whole_part
from tests.scoring.making import library

SINCE = whole_part("since@1")
SKIPPED = {"state": "skipped"}


def since_answers(**changes: Any) -> dict[str, Any]:
    """Nothing happened and nothing changed, but for the changes, keyed `item_1a`."""
    answers: dict[str, Any] = {
        "1": answered(0),
        "1a": SKIPPED,
        "1b": SKIPPED,
        "2": answered(0),
        "3": answered(12),
        "4": answered(1),
        "5": {"state": "not_applicable"},
        "6": answered(0),
        **dict.fromkeys(("6a", "6b", "6c", "6d"), SKIPPED),
    }
    return answers | {key.removeprefix("item_"): value for key, value in changes.items()}


def faults(**changes: Any) -> dict[str, list[str]]:
    return faults_of([SINCE], [part("since@1", since_answers(**changes))], today=date(2026, 3, 1))


def faults_of(asked: list[AskedPart], given: object, *, today: date | None = None) -> dict[str, list[str]]:
    """Every fault by place; empty when the answers fit."""
    try:
        check_answers(library(), asked, given, today=today)
    except AnswerProblem as problem:
        return problem.problems
    return {}


def operated_again(**changes: Any) -> dict[str, list[str]]:
    return faults(**{"item_1": answered(1), "item_1a": answered("2025-11"), "item_1b": answered("Anytown")} | changes)


def test_a_form_in_order_has_no_fault() -> None:
    assert faults() == {}
    assert operated_again() == {}


def test_several_parts_are_checked_each_by_its_own_items() -> None:
    expected = [AskedPart("since@1", ("1", "2")), whole_part("pain@1")]
    given = [part("since@1", {"1": answered(0), "2": answered(4)}), part("pain@1", {"1": answered(11)})]
    assert faults_of(expected, given) == {
        "since@1/2": ["4 is not allowed; allowed: 0, 1, 2, 3"],
        "pain@1/1": ["11 is not allowed; allowed: whole numbers from 0 to 10"],
    }


@pytest.mark.parametrize("given", [None, {}, "parts", [], [None], [part("pain@1", {})], [part("since@1", {})] * 2])
def test_other_parts_than_asked_are_one_fault(given: object) -> None:
    assert faults_of([SINCE], given) == {"parts": ["must be since@1 in this order"]}


def test_parts_in_another_order_are_a_fault() -> None:
    given = [part("pass@1", {"1": answered(1)}), part("pain@1", {"1": answered(1)})]
    found = faults_of([whole_part("pain@1"), whole_part("pass@1")], given)
    assert found == {"parts": ["must be pain@1, pass@1 in this order"]}


@pytest.mark.parametrize(
    "text_id",
    [
        None,
        7,
        "",
        "sst@1/en/descriptive-1",
        "since@10/en/descriptive-1",
        "since@1/" + "x" * 73,
        "since@1/a b",
        "since@1/a\n",
        "since@1/\x00",
        "since@1/\x7f",
        "since@1/\ud800",
        "since@1/é",
    ],
)
def test_the_text_that_was_read_must_be_named(text_id: object) -> None:
    given = part("since@1", since_answers()) | {"text_id": text_id}
    assert faults_of([SINCE], [given]) == {"since@1": ["text_id must name a text of since@1"]}


def test_answers_must_be_an_object() -> None:
    given = part("since@1", since_answers()) | {"answers": []}
    assert faults_of([SINCE], [given]) == {"since@1": ["answers must be an object"]}


def test_a_text_may_have_a_name_of_eighty_characters() -> None:
    given = part("since@1", since_answers()) | {"text_id": "since@1/" + "x" * 72}
    assert faults_of([SINCE], [given]) == {}


def test_both_faults_of_a_part_are_told() -> None:
    given = part("since@1", since_answers()) | {"text_id": 7, "answers": []}
    said = ["text_id must name a text of since@1", "answers must be an object"]
    assert faults_of([SINCE], [given]) == {"since@1": said}


def test_the_form_of_the_second_shoulder_may_leave_out_how_to_reach_the_person() -> None:
    assert faults(item_6={"state": "not_reached"}) == {}


def test_an_item_that_was_not_asked_is_a_fault() -> None:
    assert faults(item_9=answered(1)) == {"since@1": ['"9" is not an item of this form']}


@pytest.mark.parametrize(
    ("item", "answer", "message"),
    [
        ("2", None, "has no answer"),
        ("2", 1, "must be an object"),
        ("2", {"value": 1}, "state null is none of answered, declined, skipped, not_reached, not_applicable"),
        ("2", {"state": "not_given"}, 'state "not_given" is none of'),
        ("2", {"state": ["answered"]}, "is none of"),
        ("2", {"state": "answered"}, "null is not a number; allowed: 0, 1, 2, 3"),
        ("2", {"state": "declined", "value": 1}, "declined cannot have a value"),
        ("2", {"state": "declined", "value": None}, "declined cannot have a value"),
        ("2", {"state": "not_applicable"}, "does not offer not_applicable"),
        ("2", SKIPPED, "cannot be skipped: it was to be asked"),
        ("2", answered(True), "true is not a number; allowed: 0, 1, 2, 3"),
        ("2", answered("1"), "a text is not a number; allowed: 0, 1, 2, 3"),
        ("3", answered(105), "105 is not allowed; allowed: whole numbers from 0 to 104"),
        ("3", {"state": "answered", "value": 3.0}, "3.0 is not a whole number; allowed: whole numbers from 0 to 104"),
        ("2", answered(1) | {"first_at": "yesterday"}, "first_at is not an instant"),
        ("2", answered(1) | {"last_at": "2026-02-30T09:00:00.000Z"}, "last_at is not an instant"),
        ("2", answered(1) | {"last_at": "2026-03-01T09:00:00.000+00:00"}, "last_at is not an instant"),
        ("2", answered(1) | {"last_at": None}, "last_at is not an instant"),
    ],
)
def test_an_answer_that_is_not_understood_is_a_fault_of_its_item(item: str, answer: object, message: str) -> None:
    found = faults(**{f"item_{item}": answer})
    assert list(found) == [f"since@1/{item}"]
    assert message in found[f"since@1/{item}"][0]


@pytest.mark.parametrize(
    "month", ["2025-13", "2025-1", "2025-00", "25-01", "2025-01-01", "2025-01\n", "\u0662025-01", 2025]
)
def test_a_month_has_its_own_form(month: Any) -> None:
    assert operated_again(item_1a=answered(month)) == {"since@1/1a": ["is not a month; allowed: a month as YYYY-MM"]}


def test_a_month_does_not_lie_in_the_future() -> None:
    assert operated_again(item_1a=answered("2026-03")) == {}
    assert "lies in the future" in operated_again(item_1a=answered("2026-04"))["since@1/1a"][0]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "has 0 characters; allowed: a text of 1 to 200 characters"),
        ("x" * 201, "has 201 characters; allowed: a text of 1 to 200 characters"),
        ("a\x00b", "holds a character that cannot be stored"),
        ("a\ud800b", "holds a character that cannot be stored"),
        (5, "is not a text"),
    ],
)
def test_a_text_can_be_stored_and_is_never_repeated(text: Any, message: str) -> None:
    found = operated_again(item_1b=answered(text))
    assert found["since@1/1b"][0].startswith(message)


def test_no_message_repeats_a_text_that_stands_where_a_number_belongs() -> None:
    assert "Miller" not in str(faults(item_2=answered("Miller")))


def test_a_text_of_the_full_length_in_any_script_is_accepted() -> None:
    assert operated_again(item_1b=answered("ش" * 200)) == {}


def test_every_fault_is_told_at_once() -> None:
    assert set(faults(item_2=answered(9), item_3=answered(-1), item_4=None)) == {"since@1/2", "since@1/3", "since@1/4"}


@pytest.mark.parametrize("state", ["declined", "not_reached"])
def test_what_was_to_be_asked_may_be_declined_or_not_reached(state: str) -> None:
    assert operated_again(item_1b={"state": state}) == {}


def test_what_was_to_be_asked_cannot_be_skipped() -> None:
    assert operated_again(item_1b=SKIPPED) == {"since@1/1b": ["cannot be skipped: it was to be asked"]}


def test_what_was_not_to_be_asked_cannot_be_answered() -> None:
    message = ["must be skipped: it was not to be asked"]
    assert faults(item_1b=answered("Anytown")) == {"since@1/1b": message}
    assert faults(item_1b={"state": "declined"}) == {"since@1/1b": message}


@pytest.mark.parametrize("source", [{"state": "declined"}, {"state": "not_reached"}, answered(0)])
@pytest.mark.parametrize("state", ["skipped", "not_reached"])
def test_without_the_answer_it_hangs_on_an_item_is_skipped_or_not_reached(source: Any, state: str) -> None:
    assert faults(item_1=source, item_1a={"state": state}, item_1b={"state": state}) == {}


def test_a_fault_in_the_item_it_hangs_on_is_told_once() -> None:
    assert list(faults(item_1=answered(5), item_1a=answered("2025-11"))) == ["since@1/1"]


def test_members_the_protocol_does_not_name_are_passed_over() -> None:
    given = part("since@1", since_answers(item_2=answered(1) | {"colour": "red"})) | {"later": AT}
    assert faults_of([SINCE], [given]) == {}
