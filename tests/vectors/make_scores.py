"""Adds to scores-<scoring version>.json, beside this file, the instruments that are not in it yet. Run by hand when one is new:
python -m tests.vectors.make_scores

Invented answer sheets with the scores of this scoring version, each value as the hexadecimal form of its double (`float.hex`). What is
recorded is never written again, so that a change of arithmetic shows in `tests/scoring/test_recorded_scores.py`. Such a change needs a new
SCORING_VERSION, and with it a new file; the old one stays.
"""

import json
import random
from pathlib import Path
from typing import Any

from scoring.answers import Answer
from scoring.definition import Definition, Item
from scoring.library import load_library
from scoring.parts import score_part
from scoring.score import SCORING_VERSION

HERE = Path(__file__).parent
SOURCE = "the project's own, see make_scores.py"
BLANKS = ("declined", "not_reached")
Sheet = list[int | str]  # an answer for each item in order: its code, or the state of one without


def recorded(version: str = SCORING_VERSION) -> dict[str, Any]:
    """The instruments of the file by their spec; empty without a file."""
    file = HERE / f"scores-{version}.json"
    return dict(json.loads(file.read_text())["instruments"]) if file.exists() else {}


def as_answers(items: list[str], sheet: Sheet) -> dict[str, Answer]:
    return {
        name: Answer(given) if isinstance(given, str) else Answer("answered", given)
        for name, given in zip(items, sheet, strict=True)
    }


def scored(definition: Definition, items: list[str], sheet: Sheet) -> list[list[Any]]:
    """For each scale: the double in hexadecimal or null, status, answered, reason."""
    found = score_part(definition, as_answers(items, sheet))
    return [
        [None if each.value is None else float(each.value).hex(), each.status, each.answered, each.reason]
        for each in found
    ]


def sheets(definition: Definition) -> list[Sheet]:
    """The first and the last answer throughout, whole sheets, and sheets with more and more blanks."""
    chance = random.Random(definition.spec)
    ends: list[Sheet] = [[item.numbers[place] for item in definition.items] for place in (0, -1)]
    shares = [0.0] * 4 + [0.05, 0.1, 0.1, 0.2, 0.5, 1.0]
    return ends + [[_answer(item, share, chance) for item in definition.items] for share in shares]


def _answer(item: Item, share: float, chance: random.Random) -> int | str:
    if chance.random() >= share:
        return chance.choice(item.numbers)
    return chance.choice((*BLANKS, "not_applicable") if item.not_applicable else BLANKS)


def document_of(definition: Definition) -> dict[str, Any]:
    items = list(definition.by_item)
    scales = [
        [each.scale, each.items, each.method]
        for each in score_part(definition, as_answers(items, sheets(definition)[0]))
    ]
    lines = [{"answers": sheet, "scores": scored(definition, items, sheet)} for sheet in sheets(definition)]
    return {"items": items, "scales": scales, "sheets": lines}


def main() -> None:
    known = recorded()
    for definition in load_library().definitions.values():
        if definition.scales:
            known.setdefault(definition.spec, document_of(definition))
    lines = ",\n".join(f'"{spec}": {_written(document)}' for spec, document in sorted(known.items()))
    head = f'{{"source": {json.dumps(SOURCE)}, "scoring_version": "{SCORING_VERSION}", "instruments": {{\n'
    (HERE / f"scores-{SCORING_VERSION}.json").write_text(f"{head}{lines}\n}}}}\n")


def _written(document: dict[str, Any]) -> str:
    """A sheet a line, so that a difference can be read."""
    head = {name: document[name] for name in ("items", "scales")}
    lines = ",\n  ".join(json.dumps(each, ensure_ascii=False) for each in document["sheets"])
    return f'{json.dumps(head, ensure_ascii=False)[:-1]}, "sheets": [\n  {lines}]}}'


if __name__ == "__main__":
    main()
