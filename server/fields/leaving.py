"""What of a field leaves the clinic, so that no name that somebody typed does.

A typed text that is one of the field's words, whatever its capitals and spaces, is exported as that word. Any other is exported
as `other`: the record has a text, and it stays in the clinic.
"""

import re
from collections.abc import Iterable, Mapping

from server.fields.field import OTHER, Field, Leaves, Value


def exported(fields: Iterable[Field]) -> list[Field]:
    return [field for field in fields if field.export is not None]


def leaving(fields: Iterable[Field], row: object) -> Mapping[str, Value]:
    """What the exported files may know of a row, by field name."""
    found = {field.name: leaving_value(field, getattr(row, field.name)) for field in exported(fields)}
    return {
        **found,
        **{field.precision: getattr(row, field.precision) for field in exported(fields) if field.precision},
    }


def leaving_value(field: Field, value: Value) -> Value:
    if field.export is None:
        raise ValueError(f"{field.name} stays in the clinic: {field.stays}")
    if field.export.leaves == Leaves.NOTED:
        return None if value is None else True
    if field.export.leaves == Leaves.CODED:
        return coded(field.words, None if value is None else str(value))
    return value


def coded(words: Iterable[str], text: str | None) -> str | None:
    """The word for what was typed; None for nothing."""
    if text is None or not text.strip():
        return None
    word = re.sub(r"[\s_-]+", "_", text.strip().lower())
    return word if word in words else OTHER


def words_that_leave(field: Field) -> tuple[str, ...]:
    """All words that the column can hold; empty where it holds no words."""
    if field.export is None:
        return ()
    if field.export.leaves == Leaves.CODED:
        return (*field.words, OTHER)
    return field.export.codes or tuple(field.words)
