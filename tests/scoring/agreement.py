"""Random answer sheets for both scorings, missing patterns included, and what they do not agree on."""

import random
from typing import Any

from scoring.answers import read_sheet
from scoring.score import score
from tests.scoring.making import library
from tests.scoring.naive import CODES, Sheet, naive_scores

COMPARED = ("scale", "value", "status", "answered", "items")


def random_sheet(instrument: str, chance: random.Random) -> Sheet:
    """From complete over one or a few blanks to nearly empty: the share of blanks is drawn for each sheet."""
    blank = chance.choice([0.0, 0.0, 0.05, 0.1, 0.2, 0.5, 0.95])
    return {
        str(number): None if chance.random() < blank else chance.choice(codes)
        for number, codes in enumerate(CODES[instrument], 1)
    }


def disagreements(instrument: str, sheets: int, seed: int) -> list[tuple[Sheet, Any, Any]]:
    """Each sheet on which the two differ, with both results."""
    definition = library().instrument(instrument)
    chance = random.Random(seed)
    found: list[tuple[Sheet, Any, Any]] = []
    for _ in range(sheets):
        sheet = random_sheet(instrument, chance)
        expected = naive_scores(instrument, sheet)
        results = score(definition, read_sheet(definition, sheet))
        compared = [{name: getattr(each, name) for name in COMPARED} for each in results]
        if compared != expected:
            found.append((sheet, compared, expected))
    return found
