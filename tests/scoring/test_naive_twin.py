"""Both scorings agree on random answer sheets, missing patterns included."""

import json
import random

import pytest

from scoring.document import score_document
from tests.scoring.making import library
from tests.scoring.naive import CODES, Sheet, naive_scores

SHEETS = 1000
SEED = 20261


def random_sheet(instrument: str, chance: random.Random) -> Sheet:
    """From complete to nearly empty: the share of blanks is drawn for each sheet."""
    items, codes = CODES[instrument]
    blank = chance.choice([0.0, 0.0, 0.1, 0.5, 0.95])
    return {str(n): None if chance.random() < blank else chance.choice(codes) for n in range(1, items + 1)}


def test_the_twin_knows_every_instrument_with_a_score() -> None:
    assert set(CODES) == {each.id for each in library().definitions.values() if each.scales}


@pytest.mark.parametrize("instrument", CODES)
def test_it_agrees_on_random_sheets(instrument: str) -> None:
    chance = random.Random(SEED)
    for _ in range(SHEETS):
        sheet = random_sheet(instrument, chance)
        document = score_document(library(), instrument, json.dumps({"answers": sheet}))
        compared = [
            {key: scale[key] for key in ("scale", "value", "status", "answered", "items")}
            for scale in document["scales"]
        ]
        assert compared == naive_scores(instrument, sheet), sheet
