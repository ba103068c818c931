"""What a column of a file says of itself; the tables of columns are made of these."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from server.fields.field import Field, Kind, Leaves
from server.fields.leaving import words_that_leave

LONGEST_NAME = 32
LONGEST_LABEL = 80  # statistical programs cut longer ones
YES_NO = ("1 = yes", "0 = no")
_TYPES = {
    Kind.CHOICE: "word",
    Kind.CODED: "word",
    Kind.TEXT: "text",
    Kind.SEVERAL: "text",
    Kind.NUMBER: "number",
    Kind.WHOLE: "integer",
    Kind.YES_NO: "integer",
    Kind.DAY: "date",
}


@dataclass(frozen=True)
class Column:
    """`type`: integer, number, text, word (one of `codes`), date, instant. `value` takes a row and gives a typed value or None.

    `codes`: words, or `code = what it means`. `note`: what the label has no room for. `in_form`: it differs between the rows of one
    form; all other columns are worked out once for a form.
    """

    name: str
    label: str
    type: str
    files: tuple[str, ...]
    value: Callable[[Any], object]
    unit: str = ""
    codes: tuple[str, ...] = ()
    source: str = ""
    in_form: bool = False
    note: str = ""


def said(words: Mapping[str, str]) -> tuple[str, ...]:
    """Codes with what they mean, where that is more than the code itself."""
    return tuple(code if words[code] in (code, code.replace("_", " ")) else f"{code} = {words[code]}" for code in words)


def type_of(field: Field) -> str:
    """The type of an exported field's column."""
    return "integer" if field.export is not None and field.export.leaves == Leaves.NOTED else _TYPES[field.kind]


def codes_of(field: Field) -> tuple[str, ...]:
    """The codes that an exported field's column can hold."""
    if field.kind == Kind.YES_NO or (field.export is not None and field.export.leaves == Leaves.NOTED):
        return YES_NO
    leaving = words_that_leave(field)
    return said({code: field.words.get(code, code) for code in leaving})


def field_column(field: Field, file: str, of: Callable[[Any], Mapping[str, object]], source: str) -> Column:
    """A field of a field table as a column of a file whose rows hold `of(row)`, the recorded values by field name."""
    if field.export is None:
        raise ValueError(f"{field.name} stays in the clinic: {field.stays}")
    return Column(
        field.column, field.export.label, type_of(field), (file,), lambda row: of(row)[field.name],
        field.unit.replace("²", "2"), codes_of(field), source, note=field.export.note,
    )  # fmt: skip
