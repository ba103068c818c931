"""Parts of a form as a phone hands them in."""

from typing import Any

from server.forms.asked import AskedPart
from tests.scoring.making import library

AT = "2026-03-01T09:00:00.000Z"


def answered(value: int | str) -> dict[str, Any]:
    return {"state": "answered", "value": value, "first_at": AT, "last_at": AT}


def part(spec: str, answers: dict[str, Any]) -> dict[str, Any]:
    return {"instrument": spec, "text_id": f"{spec}/en/descriptive-1", "answers": answers}


def whole_part(spec: str) -> AskedPart:
    """What a due sheet asks of an instrument: all its items."""
    return AskedPart(spec, tuple(library().instrument(spec).by_item))
