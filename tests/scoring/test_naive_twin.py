"""Both scorings agree on random answer sheets, missing patterns included."""

import json
import random

import pytest

from scoring.document import score_document
from tests.scoring.agreement import COMPARED, disagreements, random_sheet
from tests.scoring.making import library
from tests.scoring.naive import CODES, TWINS, naive_scores

SHEETS = 200  # ./run soak tries a hundred thousand
SEED = 20261


def test_the_twin_knows_instruments_of_the_library() -> None:
    assert CODES.keys() == TWINS.keys() <= {each.id for each in library().definitions.values() if each.scales}
    assert len(CODES) >= 16


@pytest.mark.parametrize("instrument", CODES)
def test_the_twin_knows_every_item_and_only_answers_that_are_accepted(instrument: str) -> None:
    definition = library().instrument(instrument)
    assert [str(number) for number in range(1, len(CODES[instrument]) + 1)] == list(definition.by_item)
    for item, codes in zip(definition.items, CODES[instrument], strict=True):
        assert set(codes) - {"not_applicable"} <= set(item.numbers)
        assert len(item.numbers) > 101 or set(item.numbers) <= set(codes)


@pytest.mark.parametrize("instrument", CODES)
def test_it_agrees_on_random_sheets(instrument: str) -> None:
    assert disagreements(instrument, SHEETS, SEED) == []


@pytest.mark.parametrize("instrument", CODES)
def test_random_sheets_are_complete_partly_answered_and_nearly_empty(instrument: str) -> None:
    chance = random.Random(SEED)
    sheets = [naive_scores(instrument, random_sheet(instrument, chance)) for _ in range(SHEETS)]
    seen = {each["status"] for scales in sheets for each in scales}
    prorates = any(scale.missing.needs for scale in library().instrument(instrument).scales)
    assert seen == {"scored", "not_scored", "prorated"} if prorates else {"scored", "not_scored"}


@pytest.mark.parametrize("instrument", CODES)
def test_the_document_of_the_command_line_says_the_same(instrument: str) -> None:
    chance = random.Random(SEED)
    sheets = [random_sheet(instrument, chance) for _ in range(20)]
    documents = [score_document(library(), instrument, json.dumps({"answers": sheet})) for sheet in sheets]
    compared = [[{key: scale[key] for key in COMPARED} for scale in document["scales"]] for document in documents]
    assert compared == [naive_scores(instrument, sheet) for sheet in sheets]
