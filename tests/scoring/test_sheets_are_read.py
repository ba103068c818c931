"""Plain values become answers with a state; what an item accepts, and what is said of what it does not."""

from datetime import date
from typing import Any

import pytest

from scoring.answers import NOT_GIVEN, Answer, AnswerProblem, allowed, is_asked, read_sheet, value_problem
from scoring.definition import Definition, Item
from scoring.parse import parse_definition
from tests.scoring.making import definition_data, library, trial

NOTHING = Answer("not_given")


def read(**values: object) -> dict[str, Answer]:
    """A sheet of the trial form, its items keyed `item_1`."""
    return read_sheet(trial(), {key.removeprefix("item_"): value for key, value in values.items()})


def problems(definition: Definition, **values: object) -> dict[str, list[str]]:
    with pytest.raises(AnswerProblem) as caught:
        read_sheet(definition, {key.removeprefix("item_"): value for key, value in values.items()})
    return caught.value.problems


def test_each_type_of_item_is_read() -> None:
    assert read(item_1=1, item_1a="2025-11", item_2=35, item_3=10, item_4="Ann") == {
        "1": Answer("answered", 1),
        "1a": Answer("answered", "2025-11"),
        "2": Answer("answered", 35),
        "3": Answer("answered", 10),
        "4": Answer("answered", "Ann"),
    }


def test_what_is_null_or_left_out_was_not_given_and_what_hangs_on_it_was_skipped() -> None:
    expected = {"1": NOTHING, "1a": Answer("skipped"), "2": NOTHING, "3": NOTHING, "4": NOTHING}
    assert read() == expected
    assert read(item_1=None, item_1a=None, item_2=None, item_3=None, item_4=None) == expected
    assert NOTHING.value is None
    assert NOT_GIVEN == "not_given"


def test_an_item_that_was_led_to_may_be_left_blank() -> None:
    assert read(item_1=1)["1a"] == NOTHING
    assert read(item_1=0)["1a"] == Answer("skipped")


def test_the_word_for_what_does_not_apply_is_taken_where_it_is_offered() -> None:
    assert read(item_3="not_applicable")["3"] == Answer("not_applicable")
    assert problems(trial(), item_2="not_applicable") == {
        "item 2": ["a text is not a number; allowed: whole numbers from 0 to 100 in steps of 5"]
    }


def test_what_does_not_apply_and_was_not_led_to_was_skipped() -> None:
    first = {"item": "1", "type": "choice", "codes": [1, 0], "topic": "t"}
    second = first | {"item": "2", "asked_if": {"item": "1", "codes": [1]}, "not_applicable": True}
    form = parse_definition(definition_data(kind="form", items=[first, second], scales=[], thresholds=[]), "trial.json")
    assert read_sheet(form, {"1": 0, "2": "not_applicable"})["2"] == Answer("skipped")
    assert read_sheet(form, {"1": 1, "2": "not_applicable"})["2"] == Answer("not_applicable")
    assert read_sheet(form, {"1": 1, "2": 0})["2"] == Answer("answered", 0)
    assert problems(form, item_1=0, item_2=0) == {"item 2": ["is answered although item 1 did not lead to it"]}


def test_an_answer_that_nothing_led_to_is_a_fault() -> None:
    said = {"item 1a": ["is answered although item 1 did not lead to it"]}
    assert problems(trial(), item_1=0, item_1a="2025-11") == said
    assert problems(trial(), item_1a="2025-11") == said


def test_a_fault_in_what_an_answer_hangs_on_is_told_once() -> None:
    assert problems(trial(), item_1=7, item_1a="2025-11") == {"item 1": ["7 is not allowed; allowed: 1, 0"]}


def test_a_fault_of_its_own_is_told_although_nothing_led_to_it() -> None:
    assert problems(trial(), item_1=0, item_1a="soon") == {"item 1a": ["is not a month; allowed: a month as YYYY-MM"]}


def test_all_faults_stand_in_the_text_of_the_error_a_line_each() -> None:
    with pytest.raises(AnswerProblem) as caught:
        read(item_2=3, item_3=11, item_9=1)
    assert str(caught.value) == (
        'item "9": is not an item of trial@1; its items: 1, 1a, 2, 3, 4\n'
        "item 2: 3 is not allowed; allowed: whole numbers from 0 to 100 in steps of 5\n"
        "item 3: 11 is not allowed; allowed: whole numbers from 0 to 10"
    )


@pytest.mark.parametrize("spec", ["sst", "constant"])
def test_an_unknown_item_is_a_fault_although_it_is_null(spec: str) -> None:
    definition = library().instrument(spec)
    complete: dict[str, object] = {item.item: item.numbers[0] for item in definition.items}
    assert read_sheet(definition, complete)["14" if spec == "constant" else "12"].state == "answered"
    with pytest.raises(AnswerProblem, match='item "99": is not an item of'):
        read_sheet(definition, complete | {"99": None})


def test_a_measurement_with_many_values_is_read_like_any_other() -> None:
    definition = library().instrument("constant")
    assert read_sheet(definition, {"14": 50000})["14"] == Answer("answered", 50000)
    assert read_sheet(definition, {})["14"] == NOTHING
    with pytest.raises(AnswerProblem, match="item 14: 50001 is not allowed; allowed: whole numbers from 0 to 50000"):
        read_sheet(definition, {"14": 50001})


CHOICE = Item("1", "choice", "topic", (1, 0))
MONTH = Item("1a", "month", "topic")
TEXT = Item("4", "text", "topic", max_length=5)


def test_an_item_is_asked_when_what_it_hangs_on_was_answered_so() -> None:
    (source, hanging, *_) = trial().items
    assert is_asked(source, {})
    assert is_asked(hanging, {"1": Answer("answered", 1)})
    for other in ({}, {"1": Answer("answered", 0)}, {"1": Answer("declined", 1)}, {"1": Answer("not_reached")}):
        assert is_asked(hanging, other) is False


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (1, None),
        (2, "2 is not allowed"),
        (None, "null is not a number"),
        (False, "false is not a number"),
        (0.0, "0.0 is not a whole number"),
        ("1", "a text is not a number"),
        ([1], "is not a number"),
    ],
)
def test_a_number_that_is_none_is_told_with_what_is_allowed(value: object, said: str | None) -> None:
    assert value_problem(CHOICE, value) == (said and f"{said}; allowed: 1, 0")


@pytest.mark.parametrize("month", ["1900-01", "1999-12", "2026-09", "2026-10", "2199-11"])
def test_a_month_of_three_centuries_is_accepted(month: str) -> None:
    assert value_problem(MONTH, month) is None


@pytest.mark.parametrize(
    "month", ["1899-12", "2200-01", "1800-01", "2026-13", "2026-00", "2026-20", "2026-1", "", None, 7]
)
def test_what_is_no_month_is_told_how_one_is_written(month: object) -> None:  # fmt: skip
    assert value_problem(MONTH, month) == "is not a month; allowed: a month as YYYY-MM"


def test_this_month_is_accepted_and_the_next_is_not() -> None:
    today = date(2026, 3, 1)
    assert value_problem(MONTH, "2026-03", today=today) is None
    assert value_problem(MONTH, "2026-04", today=today) == ('"2026-04" lies in the future; allowed: a month as YYYY-MM')
    assert value_problem(MONTH, "2027-01", today=today) is not None
    assert value_problem(MONTH, "2199-12") is None


@pytest.mark.parametrize("text", ["a", "five!", "\t", "\n\r", " ", "é", "\x80", "\ue000", "😀"])
def test_a_text_may_hold_any_script_tabs_and_line_ends(text: str) -> None:
    assert value_problem(TEXT, text) is None


@pytest.mark.parametrize("sign", [*"\x00\x01\x08\x0b\x0c\x0e\x1f\x7f", "\ud800", "\udbff", "\udfff"], ids=ascii)
def test_a_sign_that_cannot_be_stored_is_refused(sign: str) -> None:
    said = "holds a character that cannot be stored; allowed: a text of 1 to 5 characters"
    assert value_problem(TEXT, f"a{sign}b") == said


@pytest.mark.parametrize(
    ("value", "said"),
    [("", "has 0 characters"), ("sixsix", "has 6 characters"), (5, "is not a text"), (None, "is not a text")],
)
def test_a_text_of_another_length_or_none_is_told_the_length(value: Any, said: str) -> None:
    assert value_problem(TEXT, value) == f"{said}; allowed: a text of 1 to 5 characters"


def test_what_is_allowed_is_said_by_type() -> None:
    assert [allowed(each) for each in trial().items] == [
        "1, 0",
        "a month as YYYY-MM",
        "whole numbers from 0 to 100 in steps of 5",
        "whole numbers from 0 to 10",
        "a text of 1 to 20 characters",
    ]
