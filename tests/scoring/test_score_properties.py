"""What holds for every scale of every instrument, whatever the answers."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scoring.answers import NOT_GIVEN, STATES, Answer
from scoring.definition import Definition
from scoring.score import ScaleScore, score
from tests.scoring.making import library

SCORED = sorted((each for each in library().definitions.values() if each.scales), key=lambda each: each.spec)
NO_ANSWER = sorted({*STATES, NOT_GIVEN} - {"answered"})

every_instrument = pytest.mark.parametrize("definition", SCORED, ids=lambda each: each.spec)


def one_answer(numbers: tuple[int, ...] | range, states: list[str]) -> st.SearchStrategy[Answer]:
    answered = st.sampled_from(list(numbers)).map(lambda value: Answer("answered", value))
    return answered | st.sampled_from(states).map(Answer) if states else answered


def draw_sheet(data: st.DataObject, definition: Definition, *, blanks: bool) -> dict[str, Answer]:
    states = NO_ANSWER if blanks else []
    return {item.item: data.draw(one_answer(item.numbers, states), item.item) for item in definition.items}


def by_scale(results: tuple[ScaleScore, ...]) -> dict[str, Any]:
    return {each.scale: each.value for each in results}


@every_instrument
@settings(deadline=None)
@given(data=st.data())
def test_a_score_lies_in_its_range_or_says_why_there_is_none(definition: Definition, data: st.DataObject) -> None:
    for result in score(definition, draw_sheet(data, definition, blanks=True)):
        if result.value is None:
            assert result.status == "not_scored"
            assert result.reason
        else:
            assert result.range[0] <= result.value <= result.range[1]
            assert result.status == "scored"
        assert (result.reason is None) == (result.answered == result.items)
        assert result.reason is None or len(result.reason) <= 120


@every_instrument
@settings(deadline=None)
@given(data=st.data())
def test_a_complete_sheet_has_every_score_and_the_bounds_meet_it(definition: Definition, data: st.DataObject) -> None:
    results = score(definition, draw_sheet(data, definition, blanks=False))
    assert all(result.status == "scored" and result.answered == result.items for result in results)
    assert {result.value for result in results if "bound" in result.flags} <= {results[0].value}


@every_instrument
@settings(deadline=None)
@given(data=st.data())
def test_a_score_is_monotone_in_each_item(definition: Definition, data: st.DataObject) -> None:
    sheet = draw_sheet(data, definition, blanks=False)
    item = data.draw(st.sampled_from(definition.items))
    scores = [by_scale(score(definition, sheet | {item.item: Answer("answered", n)})) for n in sorted(item.numbers)]
    for scale in definition.scales:
        values = [each[scale.scale] for each in scores]
        assert values in (sorted(values), sorted(values, reverse=True))


@every_instrument
@settings(deadline=None)
@given(data=st.data())
def test_what_was_declined_is_never_used(definition: Definition, data: st.DataObject) -> None:
    """Not even when a value came with it."""
    sheet = draw_sheet(data, definition, blanks=True)
    hidden = {
        name: Answer(answer.state, data.draw(st.sampled_from(list(definition.by_item[name].numbers))))
        if answer.state != "answered"
        else answer
        for name, answer in sheet.items()
    }
    assert score(definition, hidden) == score(definition, sheet)


@every_instrument
@settings(deadline=None)
@given(data=st.data())
def test_the_order_in_which_answers_came_does_not_matter(definition: Definition, data: st.DataObject) -> None:
    sheet = draw_sheet(data, definition, blanks=True)
    shuffled = dict(data.draw(st.permutations(list(sheet.items()))))
    assert score(definition, shuffled) == score(definition, sheet)


@every_instrument
@settings(deadline=None)
@given(data=st.data())
def test_an_item_that_is_not_there_was_not_answered(definition: Definition, data: st.DataObject) -> None:
    sheet = draw_sheet(data, definition, blanks=True)
    left_out = {name: answer for name, answer in sheet.items() if answer.state != NOT_GIVEN}
    assert score(definition, left_out) == score(definition, sheet)


@settings(deadline=None)
@given(data=st.data())
def test_the_sst_counts_yes_whichever_items_they_are(data: st.DataObject) -> None:
    definition = library().instrument("sst")
    sheet = draw_sheet(data, definition, blanks=True)
    moved = dict(zip(sheet, data.draw(st.permutations(list(sheet.values()))), strict=True))
    assert by_scale(score(definition, moved)) == by_scale(score(definition, sheet))


@settings(deadline=None)
@given(data=st.data())
def test_the_sst_bounds_hold_every_total_the_blanks_could_have_made(data: st.DataObject) -> None:
    definition = library().instrument("sst")
    sheet = draw_sheet(data, definition, blanks=True)
    filled = {
        name: answer if answer.state == "answered" else Answer("answered", data.draw(st.integers(0, 1)))
        for name, answer in sheet.items()
    }
    values = by_scale(score(definition, sheet))
    if values["total_if_blanks_no"] is not None:
        total = by_scale(score(definition, filled))["total"]
        assert values["total_if_blanks_no"] <= total <= values["total_if_blanks_yes"]
