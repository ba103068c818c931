"""Licensed texts to try things on. Their words are invented here; they are nobody's instrument."""

import json
from typing import Any

from scoring.library import load_library
from server.texts.draft import draft_text
from server.texts.install import Licence, read_licence
from tests.clinic_case import NOW

LICENCE = {
    "owner": "Imagined Institute",
    "licence_reference": "IMG-2026-17",
    "translation_version": "1.0",
    "dated_on": "2026-01-31",
}


def text_document(
    spec: str = "sst@1", language: str = "es", name: str = "1", words: str = "invented"
) -> dict[str, Any]:
    """A whole licensed text, every place filled with words of its own."""
    document: dict[str, Any] = json.loads(draft_text(load_library().instrument(spec), language))
    document |= {
        "text_id": f"{spec}/{language}/licensed-{name}",
        "title": f"{words} title",
        "recall": f"{words} recall",
    }
    for item, own in document["items"].items():
        own["stem"] = f"{words} item {item}"
        for code in own.get("options", {}):
            own["options"][code] = f"{words} option {code}"
        for end in {"low", "high", "not_applicable"} & own.keys():
            own[end] = f"{words} {end}"
    return document


def text_file(spec: str = "sst@1", language: str = "es", name: str = "1", words: str = "invented") -> bytes:
    return json.dumps(text_document(spec, language, name, words), ensure_ascii=False).encode()


def licence(**changed: str) -> Licence:
    return read_licence({**LICENCE, **changed}, today=NOW.date())
