"""An empty licensed text to be filled in: every item and every code of the definition, no words."""

import json
from typing import Any

from scoring.definition import Definition, Item


def draft_text(definition: Definition, language: str) -> str:
    """As instruments/README.md describes the file. It is refused until its words are there and NAME is chosen."""
    document = {
        "text_id": f"{definition.spec}/{language}/licensed-NAME",
        "instrument": definition.spec,
        "language": language,
        "kind": "licensed",
        "title": "",
        "recall": "",
        "items": {item.item: _words(item) for item in definition.items},
    }
    return json.dumps(document, ensure_ascii=False, indent=1)


def _words(item: Item) -> dict[str, Any]:
    words: dict[str, Any] = {"stem": "", "hint": ""}
    if item.type == "choice":
        words["options"] = {str(code): "" for code in item.numbers}
    if item.type in ("scale", "integer"):
        words |= {"low": "", "high": ""}
    if item.not_applicable:
        words["not_applicable"] = ""
    return words
