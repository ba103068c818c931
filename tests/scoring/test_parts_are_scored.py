"""The answers to one instrument of a form are scored, unless one of them does not fit its definition."""

import pytest

from scoring.answers import Answer, AnswerProblem
from scoring.parts import score_part
from tests.scoring.making import library, trial


def answered(value: int | str | None) -> Answer:
    return Answer("answered", value)


def sst_answers(**states: str) -> dict[str, Answer]:
    answers = {str(n): answered(1) for n in range(1, 13)}
    return answers | {key.removeprefix("item_"): Answer(state) for key, state in states.items()}


def test_each_scale_is_scored_and_a_form_has_no_score() -> None:
    assert score_part(library().instrument("since@1"), {"1": answered(0)}) == ()
    results = score_part(library().instrument("sst@1"), sst_answers())
    assert [(each.instrument, each.version, each.scale, each.value) for each in results] == [
        ("sst", "1", "total", 12),
        ("sst", "1", "total_if_blanks_no", 12),
        ("sst", "1", "total_if_blanks_yes", 12),
    ]


def test_declined_and_not_reached_are_missing_and_the_reason_tells_them_apart() -> None:
    total, lowest, highest = score_part(
        library().instrument("sst@1"), sst_answers(item_2="declined", item_11="not_reached", item_12="not_reached")
    )
    assert (total.value, total.status) == (None, "not_scored")
    assert total.reason == "9 of 12 items answered, all needed (1 declined, 2 not reached)"
    assert (lowest.value, highest.value) == (9, 12)
    assert lowest.flags == highest.flags == ("bound",)


def test_an_instrument_that_was_declined_throughout_has_no_bounds_either() -> None:
    states = {f"item_{n}": "declined" for n in range(1, 13)}
    results = score_part(library().instrument("sst@1"), sst_answers(**states))
    assert [each.value for each in results] == [None, None, None]
    assert results[1].reason == "no item answered (12 declined)"


@pytest.mark.parametrize(
    ("answers", "message"),
    [
        ({"1": answered(11)}, "item 1: 11 is not allowed; allowed: whole numbers from 0 to 10"),
        ({"1": answered(3), "2": answered(1)}, 'item "2": is not an item of pain@1'),
        ({"1": answered("3")}, "item 1: a text is not a number; allowed: whole numbers from 0 to 10"),
    ],
)
def test_an_answer_that_the_definition_does_not_accept_has_no_score(answers: dict[str, Answer], message: str) -> None:
    with pytest.raises(AnswerProblem) as caught:
        score_part(library().instrument("pain@1"), answers)
    assert str(caught.value) == message


def test_an_answer_outside_its_codes_is_refused_beside_a_blank_too() -> None:
    with pytest.raises(AnswerProblem) as caught:
        score_part(
            library().instrument("sst@1"), sst_answers(item_2="declined") | {"3": answered(2), "4": answered(True)}
        )
    assert caught.value.problems == {
        "item 3": ["2 is not allowed; allowed: 1, 0"],
        "item 4": ["true is not a number; allowed: 1, 0"],
    }


def test_what_could_name_a_person_is_no_fault_of_a_score() -> None:
    """Its value was taken out when the form was recorded, and its state stays."""
    definition = trial()
    answers = {"1": answered(1), "3": answered(4), "4": answered(None)}
    assert score_part(definition, answers)[0].value == 5
    with pytest.raises(AnswerProblem, match="item 2: "):
        score_part(definition, answers | {"2": answered(None)})


def test_a_value_beside_another_state_is_not_used() -> None:
    (found,) = score_part(trial(), {"1": answered(1), "3": Answer("declined", 4)})
    assert (found.value, found.reason) == (None, "1 of 2 items answered, all needed (1 declined)")
