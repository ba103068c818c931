"""What holds for every scale of every instrument, whatever the answers."""

import random
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, note, settings
from hypothesis import strategies as st

from scoring.answers import NOT_GIVEN, STATES, Answer, read_sheet
from scoring.definition import BASES, Definition, Missing, Scale
from scoring.score import ScaleScore, score
from tests.scoring.making import library

SCORED = sorted((each for each in library().definitions.values() if each.scales), key=lambda each: each.spec)
LONGEST_REASON = 300  # what the table of scores holds
NO_ANSWER = sorted({*STATES, NOT_GIVEN} - {"answered"})

every_instrument = pytest.mark.parametrize("definition", SCORED, ids=lambda each: each.spec)


def draw_chance(data: st.DataObject) -> random.Random:
    """One draw a sheet, not one an item: with 38 items that is the difference between seconds and minutes."""
    return random.Random(data.draw(st.integers(0, 2**32 - 1), "seed"))


def draw_sheet(data: st.DataObject, definition: Definition, *, blanks: bool) -> dict[str, Answer]:
    chance = draw_chance(data)
    share = chance.choice([0.0, 0.05, 0.1, 0.3, 0.9]) if blanks else 0.0
    sheet = {
        item.item: Answer(chance.choice(NO_ANSWER))
        if chance.random() < share
        else Answer("answered", chance.choice(item.numbers))
        for item in definition.items
    }
    note(f"{definition.spec}: {sheet}")
    return sheet


def by_scale(results: tuple[ScaleScore, ...]) -> dict[str, Any]:
    return {each.scale: each.value for each in results}


@every_instrument
@settings(deadline=None)
@given(data=st.data())
def test_a_score_lies_in_its_range_or_says_why_there_is_none(definition: Definition, data: st.DataObject) -> None:
    results = score(definition, draw_sheet(data, definition, blanks=True))
    assert len(results) == len(definition.scales) > 0
    for result in results:
        if result.value is None:
            assert result.status == "not_scored"
            assert result.reason
        else:
            assert result.range[0] <= result.value <= result.range[1]
            assert result.status in ("scored", "prorated")
        assert (result.reason is None) == (result.answered == result.items)
        assert result.reason is None or len(result.reason) <= LONGEST_REASON


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
    numbers = sorted(draw_chance(data).choices(item.numbers, k=6))
    scores = [by_scale(score(definition, sheet | {item.item: Answer("answered", n)})) for n in numbers]
    by_name = {name: [each[name] for each in scores] for name in definition.by_scale}
    assert len(by_name) == len(definition.scales) > 0
    assert [name for name, values in by_name.items() if values not in (sorted(values), sorted(values)[::-1])] == []


@every_instrument
@settings(deadline=None)
@given(data=st.data())
def test_what_was_declined_is_never_used(definition: Definition, data: st.DataObject) -> None:
    """Not even when a value came with it."""
    sheet = draw_sheet(data, definition, blanks=True)
    chance = draw_chance(data)
    hidden = {
        name: Answer(answer.state, chance.choice(definition.by_item[name].numbers))
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
    shuffled = dict(draw_chance(data).sample(list(sheet.items()), len(sheet)))
    assert score(definition, shuffled) == score(definition, sheet)


@every_instrument
@settings(deadline=None)
@given(data=st.data())
def test_an_item_that_is_not_there_was_not_answered(definition: Definition, data: st.DataObject) -> None:
    sheet = draw_sheet(data, definition, blanks=True)
    left_out = {name: answer for name, answer in sheet.items() if answer.state != NOT_GIVEN}
    assert score(definition, left_out) == score(definition, sheet)


def without_rules_for_blanks(definition: Definition) -> Definition:
    return replace(
        definition,
        scales=tuple(replace(each, missing=Missing("complete", each.missing.source)) for each in definition.scales),
    )


every_prorated = pytest.mark.parametrize(
    "definition",
    [each for each in SCORED if any(scale.missing.needs for scale in each.scales)],
    ids=lambda each: each.spec,
)


@every_prorated
@settings(deadline=None)
@given(data=st.data())
def test_a_rule_for_blanks_changes_nothing_on_a_complete_sheet(definition: Definition, data: st.DataObject) -> None:
    sheet = draw_sheet(data, definition, blanks=False)
    assert by_scale(score(definition, sheet)) == by_scale(score(without_rules_for_blanks(definition), sheet))


@every_prorated
@settings(deadline=None)
@given(data=st.data())
def test_blanks_count_as_the_mean_of_what_was_answered(definition: Definition, data: st.DataObject) -> None:
    """Where a person always answered the same, leaving some out gives the same score or none."""
    number = data.draw(st.sampled_from(range(50)))
    sheet = {
        item.item: Answer("answered", sorted(item.numbers)[number % len(item.numbers)]) for item in definition.items
    }
    gaps = {name: Answer("not_applicable") for name in data.draw(st.sets(st.sampled_from(list(sheet)), max_size=3))}
    whole, less = score(definition, sheet), score(definition, sheet | gaps)
    assert all(each.value is not None for each in whole) and whole
    for scale, full, part in zip(definition.scales, whole, less, strict=True):
        if part.status == "prorated" and scale.missing.needs:
            assert part.value == full.value


@every_prorated
@settings(deadline=None)
@given(data=st.data())
def test_a_score_that_used_a_rule_without_a_published_source_says_so(
    definition: Definition, data: st.DataObject
) -> None:
    blank = st.sampled_from([*NO_ANSWER, "not_applicable", "not_applicable"]).map(Answer)
    gaps = data.draw(st.dictionaries(st.sampled_from(list(definition.by_item)), blank, max_size=2))
    results = score(definition, draw_sheet(data, definition, blanks=False) | gaps)
    assert len(results) == len(definition.scales) > 0
    for result in results:
        used = under(definition, result.scale)
        words = {BASES[each.missing.basis] for each in used if each.missing.needs} - {None}
        flagged = result.status == "prorated" and bool(words)
        assert bool(result.flags) == flagged
        assert all(flag in words and flag in (result.reason or "") for flag in result.flags)


def under(definition: Definition, name: str) -> list[Scale]:
    """The scale and those it builds on."""
    scale = definition.by_scale[name]
    return [scale, *(each for part in scale.rule.scales for each in under(definition, part))]


@every_instrument
@settings(deadline=None)
@given(data=st.data())
def test_plain_values_and_checked_answers_have_the_same_scores(definition: Definition, data: st.DataObject) -> None:
    sheet = draw_sheet(data, definition, blanks=True)
    numbers = {name: answer.value for name, answer in sheet.items()}
    left_out = {name: value for name, value in numbers.items() if value is not None}
    if all(answer.state != "not_applicable" for answer in sheet.values()):
        assert by_scale(score(definition, read_sheet(definition, numbers))) == by_scale(score(definition, sheet))
    assert score(definition, read_sheet(definition, left_out)) == score(definition, read_sheet(definition, numbers))


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
