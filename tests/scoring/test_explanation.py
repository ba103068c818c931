"""A score explains itself: what was used, what is missing and why, and every step of the arithmetic."""

import json
import random

import pytest

from scoring.answers import read_sheet
from scoring.document import score_document
from scoring.explain import explain_scales
from scoring.score import score
from tests.scoring.agreement import random_sheet
from tests.scoring.making import library
from tests.scoring.naive import CODES


def part(spec: str, scale: str, answers: dict[str, object]) -> list[str]:
    """The lines under a scale's heading."""
    text = score_document(library(), spec, json.dumps({"answers": answers}), explain=True)
    blocks = [block.splitlines() for block in text.split("\n\n")]
    return next([line.strip() for line in block[1:]] for block in blocks if block[0].endswith(f"({scale})"))


def numbered(*values: object) -> dict[str, object]:
    return {str(number): value for number, value in enumerate(values, 1)}


@pytest.mark.parametrize(
    ("spec", "line"),
    [
        ("woos", "not verified: part of it was not read in a published source; see the sources"),
        ("dash", "not to be sent before its owner has agreed; see the sources"),
        ("ases", ""),
    ],
)
def test_the_second_line_says_what_is_not_settled(spec: str, line: str) -> None:
    assert score_document(library(), spec, '{"answers": {}}', explain=True).splitlines()[1] == line


def test_ases_in_steps() -> None:
    answers = numbered(3, 3, 2, 2, 2, 2, 2, 2, 2, 2, 1)
    assert part("ases", "pain_points", answers)[1:4] == ["the answer itself: 3", "10 - 3 = 7", "7 x 5 = 35"]
    assert part("ases", "function", answers)[1:3] == [
        "3 + 2 + 2 + 2 + 2 + 2 + 2 + 2 + 2 + 1 = 20",
        "20 x 5/3 = 33.3333",
    ]
    assert part("ases", "total", answers)[1:4] == [
        "from Pain part (pain_points), Function part (function)",
        "35 + 33.3333 = 68.3333",
        "result: 68.33333333333333 (shown as 68.3) in a range from 0 to 100, higher is better",
    ]


def test_a_prorated_part_shows_what_stands_for_the_whole_and_that_the_rule_has_no_source() -> None:
    lines = part("ases", "function", numbered(3, *[2] * 9))
    assert "items without an answer: 11" in lines
    assert "9 of 10 items answered, prorated (1 not answered); rule without a published source" in lines
    assert "18 from 9 items, for all 10: x 10/9 = 20" in lines
    assert lines[-1].startswith("missing answers: No published rule was found")


def test_a_total_says_which_part_was_prorated_or_has_no_value() -> None:
    (reason,) = [line for line in part("ases", "total", numbered(3, *[2] * 9)) if "answered" in line and "(" in line]
    assert reason == "10 of 11 items answered, function prorated (1 not answered); rule without a published source"
    assert "10 of 11 items answered, no value for pain_points (1 not answered)" in part(
        "ases", "total", numbered(None, *[2] * 10)
    )


def test_dash_shows_the_mean_of_what_was_answered() -> None:
    lines = part("quickdash", "total", numbered(*[3] * 9, 4))
    assert "(3 + 3 + 3 + 3 + 3 + 3 + 3 + 3 + 3 + 4) / 10 = 3.1" in lines
    assert "(3.1 - 1) x 25 = 52.5" in lines
    assert "10 of 11 items answered, prorated (1 not answered)" in lines


def test_constant_shows_rounding_bands_weights_and_the_limit() -> None:
    answers = numbered(15, 1, 30, 31, 6, 91, 120, 0, 1, 0, 1, 0, 4, 12000)
    assert part("constant", "pain", answers)[1:5] == [
        "the answer itself: 15",
        "15 x 1/10 = 1.5",
        "1.5 rounded, a half upwards, = 2",
        "15 - 2 = 13",
    ]
    assert part("constant", "daily_life", answers)[1:4] == [
        "item 3: 30 falls into the band that gives 4",
        "item 4: 31 falls into the band that gives 3",
        "1 + 4 + 3 + 6 = 14",
    ]
    assert "0 x 2 + 1 x 2 + 0 x 2 + 1 x 2 + 0 x 2 = 4" in part("constant", "external_rotation", answers)
    assert "the highest of 0, 4, 0, 8, 0 = 8" in part("constant", "external_best", answers)
    assert "26.4555, at most 25, = 25" in part("constant", "strength", answers)


def test_woos_and_the_older_oxford_scale_show_how_they_turn_round() -> None:
    assert "450 falls" not in part("woos", "total", numbered(*[50] * 9, *[0] * 10))
    assert "100 - 450 x 1/19 = 76.3158" in part("woos", "total", numbered(*[50] * 9, *[0] * 10))
    assert "60 - 30 = 30" in part("oss", "old", numbered(*[3] * 6, *[2] * 6))


def test_promis_names_the_row_of_the_table() -> None:
    answers = numbered(3, 3, 3, 3, 3, 3, 0, 4, 3, 3)
    assert "item 7: the table gives 5 for 0" in part("promis-global", "physical_raw", answers)
    assert "the table gives 47.7 for 15" in part("promis-global", "physical", answers)


def test_an_item_that_does_not_apply_is_told_apart_from_a_blank() -> None:
    answers = {**numbered(0, 0, 0, 10, *[2] * 18), "23": "not_applicable", "24": "not_applicable"}
    reason = "18 of 20 items answered, prorated (2 not applicable); rule from memory, unverified"
    assert reason in part("penn", "function", answers)
    reason = "18 of 20 items answered, 10 needed and the rest not applicable (1 not applicable, 1 not answered)"
    assert reason in part("penn", "function", answers | {"24": None})


@pytest.mark.parametrize("instrument", CODES)
def test_every_scale_of_every_sheet_is_explained_with_its_own_value(instrument: str) -> None:
    chance = random.Random(5)
    texts = [json.dumps({"answers": random_sheet(instrument, chance)}) for _ in range(20)]
    assert [problem for text in texts for problem in explained_otherwise(instrument, text)] == []


def explained_otherwise(instrument: str, text: str) -> list[str]:
    """The scales whose explanation lacks their value, method or reason."""
    explained = score_document(library(), instrument, text, explain=True)
    scales = score_document(library(), instrument, text)["scales"]
    lines = [line.strip() for line in explained.splitlines()]
    results = [line for line in lines if line.startswith("result: ")]
    assert len(results) == len(scales) > 0
    wanted = ["result: no score" if each["value"] is None else f"result: {each['value']} " for each in scales]
    return [
        scale["scale"]
        for scale, line, result in zip(scales, results, wanted, strict=True)
        if not line.startswith(result)
        or f"method: {scale['method']}" not in lines
        or not (scale["reason"] is None or scale["reason"] in lines)
    ]


def test_each_scale_comes_with_its_items_and_steps() -> None:
    definition = library().instrument("ases")
    answers = read_sheet(definition, numbered(3, 3, 2, 2, 2, 2, 2, 2, 2, 2, 1))
    by_scale = {each.scale.scale: each for each in explain_scales(definition, answers)}
    assert list(by_scale) == [scale.scale for scale in definition.scales]
    assert by_scale["pain_points"].items == ("1",)
    assert by_scale["pain_points"].arithmetic == ("the answer itself: 3", "10 - 3 = 7", "7 x 5 = 35")
    assert by_scale["total"].items == tuple(str(number) for number in range(1, 12))
    assert [each.result for each in by_scale.values()] == list(score(definition, answers))


def test_without_a_score_there_is_no_arithmetic() -> None:
    definition = library().instrument("sst")
    main = explain_scales(definition, read_sheet(definition, numbered(1, 0)))[0]
    assert (main.result.value, main.arithmetic, len(main.items)) == (None, (), 12)
