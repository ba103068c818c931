"""A field's value as its column keeps it, and back, and as a form shows it."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from server.fields.field import Field, Kind, Value
from server.fields.read_form import BETWEEN_LANGUAGE_AND_NAME

_EXACT = {"day": 10, "month": 7, "year": 4}  # so much of 2024-03-28 is known
_JOINED_BY = {Kind.SEVERAL: ",", Kind.LIST: "\n"}


def stored(field: Field, value: Value) -> Any:
    """Several words are kept with commas between, a list one a line; every other value as it is."""
    if isinstance(value, tuple):
        return _JOINED_BY[field.kind].join(value) or None
    return value


def stored_values(fields: Iterable[Field], values: Mapping[str, Value]) -> dict[str, Any]:
    """Every column of the table, ready for its model."""
    found: dict[str, Any] = {}
    for field in fields:
        found[field.name] = stored(field, values.get(field.name))
        if field.precision:
            found[field.precision] = values.get(field.precision)
    return found


def read_back(field: Field, kept: Any) -> Value:
    """The value of a column. A list is never None: an empty one holds nothing."""
    if field.kind in _JOINED_BY:
        return tuple(kept.split(_JOINED_BY[field.kind])) if kept else ()
    value: Value = kept
    return value


def written(value: Value) -> str:
    """A value as text, for the history of changes; empty for nothing."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return "\n".join(f"{code}: {text}" for code, text in value.items())
    if isinstance(value, tuple):
        return "\n".join(value)
    if isinstance(value, date):
        return value.isoformat()
    return f"{value:g}" if isinstance(value, float) else str(value)


def in_form(fields: Iterable[Field], row: object, *, prefix: str = "", languages: Iterable[str] = ()) -> dict[str, str]:
    """What the inputs of a form show of a row, by their names."""
    shown: dict[str, str] = {}
    for field in fields:
        value = read_back(field, getattr(row, field.name))
        if isinstance(value, Mapping):
            for code in languages:
                shown[f"{prefix}{field.name}{BETWEEN_LANGUAGE_AND_NAME}{code}"] = value.get(code, "")
        elif field.kind == Kind.SEVERAL and isinstance(value, tuple):
            shown[f"{prefix}{field.name}"] = ",".join(value)
        else:
            text = written(value)
            exact = getattr(row, field.precision) if field.precision else None
            shown[f"{prefix}{field.name}"] = exactly(value, exact) if exact and isinstance(value, date) else text
    return shown


def exactly(on: date, precision: str) -> str:
    """As a form shows a day that is known so exactly: 2024-03-28, 2024-03 or 2024."""
    return on.isoformat()[: _EXACT[precision]]
