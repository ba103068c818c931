"""What of a field leaves the clinic, so that no name that somebody typed does.

A typed text that is one of the field's words, in any language of the staff pages and whatever its capitals and spaces, is exported as
that word. Any other is exported as `other`: the record has a text, and it stays in the clinic.
"""

import re
from collections.abc import Iterable, Mapping
from functools import cache

from server.fields.field import OTHER, Field, Leaves, Value
from server.words.catalogue import languages
from server.words.language import Words


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


def coded(words: Mapping[str, str], text: str | None) -> str | None:
    """The word for what was typed; None for nothing."""
    if text is None or not text.strip():
        return None
    return _codes(tuple(words.items())).get(_folded(text), OTHER)


@cache
def _codes(words: tuple[tuple[str, str], ...]) -> Mapping[str, str]:
    """Each code by itself, and by its word in every language of the staff pages."""
    said = {_folded(Words("staff", each).say(word)): code for each in languages("staff") for code, word in words}
    return {**said, **{code: code for code, _word in words}}


def _folded(text: str) -> str:
    return re.sub(r"[\s_-]+", "_", text.strip().casefold())


def words_that_leave(field: Field) -> tuple[str, ...]:
    """All words that the column can hold; empty where it holds no words."""
    if field.export is None:
        return ()
    if field.export.leaves == Leaves.CODED:
        return (*field.words, OTHER)
    return field.export.codes or tuple(field.words)
