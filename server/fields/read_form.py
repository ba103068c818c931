"""Reads the text fields of an HTML form: one marshmallow schema, made from the rows of a field table.

Reading only turns text into values; whether a value can be is asked by `check.py`, which also serves imports and the demo.
"""

import re
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from marshmallow import EXCLUDE, Schema, ValidationError, fields

from server.fields.field import Errors, Field, Kind, Value

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_NUMBER = re.compile(r"-?[0-9]{1,9}([.,][0-9]{1,6})?")
_YEAR_LAST = re.compile(r"([0-9]{1,2})[./ -]([0-9]{1,2})[./ -]([0-9]{4})")
_PARTIAL_DAY = re.compile(r"([0-9]{4})(?:-([0-9]{2}))?(?:-([0-9]{2}))?")
NOT_A_DAY = "“{text}” is not a day of the calendar. Write it as year-month-day, like 2024-03-28."
NOT_A_NUMBER = "“{text}” is not a number. Write it in figures, or leave it empty."
BETWEEN_LANGUAGE_AND_NAME = "-"


def read_form(
    rows: Iterable[Field], form: Mapping[str, str], *, prefix: str = "", languages: Iterable[str] = ()
) -> tuple[dict[str, Value], Errors]:
    """Every field's value by its name, None where nothing was typed; and what could not be read, by name with the prefix.

    A text in several languages stands in one form field for each of `languages`: `phone_hours-es`.
    """
    rows, codes = list(rows), list(languages)
    given = {row.name: _typed(row, form, f"{prefix}{row.name}", codes) for row in rows}
    errors: Errors = {}
    try:
        loaded: dict[str, Any] = _schema(rows).load(given)
    except ValidationError as problem:
        loaded = dict(problem.valid_data) if isinstance(problem.valid_data, dict) else {}
        errors = {f"{prefix}{name}": list(found) for name, found in problem.messages_dict.items()}
    values: dict[str, Value] = {row.name: loaded.get(row.name) for row in rows}
    for row in rows:
        if row.precision:
            day, exactness = loaded.get(row.name) or (None, None)
            values[row.name], values[row.precision] = day, exactness
    return values, errors


def is_filled(rows: Iterable[Field], form: Mapping[str, str], prefix: str = "") -> bool:
    """Whether anything was typed in one of these fields."""
    return any(form.get(f"{prefix}{row.name}", "").strip() for row in rows)


def _typed(row: Field, form: Mapping[str, str], name: str, languages: list[str]) -> Any:
    if row.kind == Kind.BY_LANGUAGE:
        return {code: form.get(f"{name}{BETWEEN_LANGUAGE_AND_NAME}{code}", "") for code in languages}
    return form.get(name, "")


def _schema(rows: Iterable[Field]) -> Schema:
    made: type[Schema] = Schema.from_dict({row.name: _PARTS[row.kind](row) for row in rows})
    return made(unknown=EXCLUDE)


def one_line(text: str) -> str:
    return " ".join(text.split())


def lines(text: str) -> str:
    """Each line without space around it; blank lines stay between others."""
    return "\n".join(one_line(line) for line in text.splitlines()).strip("\n")


class _Part(fields.Field[Any]):
    """A form field that knows its row in the table. An empty one is None."""

    def __init__(self, row: Field) -> None:
        super().__init__(allow_none=True)
        self.row = row

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_more: Any) -> Any:  # noqa: ARG002
        return self.read(one_line(value)) if one_line(value) else None

    def read(self, text: str) -> Any:
        return text


class _Lines(_Part):
    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_more: Any) -> Any:  # noqa: ARG002
        return lines(value) or None


class _List(_Part):
    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_more: Any) -> Any:  # noqa: ARG002
        return tuple(dict.fromkeys(line for line in lines(value).split("\n") if line))


class _ByLanguage(_Part):
    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_more: Any) -> Any:  # noqa: ARG002
        return {code: one_line(text) for code, text in value.items() if one_line(text)}


class _Several(_Part):
    def read(self, text: str) -> tuple[str, ...]:
        return tuple(word.strip() for word in text.split(","))


class _Number(_Part):
    def read(self, text: str) -> float:
        if not _NUMBER.fullmatch(text):
            raise ValidationError(NOT_A_NUMBER.format(text=text))
        return float(text.replace(",", "."))


class _Whole(_Number):
    def read(self, text: str) -> float:
        number = super().read(text)
        if number != int(number):
            raise ValidationError(f"“{text}” is not a whole number.")
        return int(number)


class _YesNo(_Part):
    def read(self, text: str) -> bool:
        if text not in ("yes", "no"):
            raise ValidationError("Choose yes, no or not recorded.")
        return text == "yes"


class _Day(_Part):
    def read(self, text: str) -> Any:
        if self.row.precision:
            return self._partial(text)
        return _calendar_day(text, text)

    def _partial(self, text: str) -> tuple[date, str]:
        """2024, 2024-03 or 2024-03-28: the first day that it can be, and how exact it is."""
        found = _PARTIAL_DAY.fullmatch(text)
        if found is None:
            raise ValidationError(_not_a_day(text))
        year, month, day = found.groups()
        exactness = "day" if day else "month" if month else "year"
        return _calendar_day(f"{year}-{month or '01'}-{day or '01'}", text), exactness


def _calendar_day(written: str, text: str) -> date:
    try:
        if _DAY.fullmatch(written):
            return date.fromisoformat(written)
    except ValueError:
        pass  # 30 February: the same sentence as for what is no day at all
    raise ValidationError(_not_a_day(text))


def _not_a_day(text: str) -> str:
    """How it is written. A day with its year at the end is named as it would be; both, where day and month could change places."""
    found = _YEAR_LAST.fullmatch(text)
    if found:
        first, second, year = found.groups()
        days = [f"{year}-{month:0>2}-{day:0>2}" for day, month in ((first, second), (second, first))]
        meant = list(dict.fromkeys(each for each in days if _is_day(each)))
        if meant:
            return f"“{text}” has its year at the end. Write it as {' or '.join(meant)}."
    return NOT_A_DAY.format(text=text)


def _is_day(written: str) -> bool:
    try:
        date.fromisoformat(written)
    except ValueError:
        return False
    return True


_PARTS: dict[Kind, type[_Part]] = {
    Kind.CHOICE: _Part,
    Kind.CODED: _Part,
    Kind.TEXT: _Part,
    Kind.SEVERAL: _Several,
    Kind.LINES: _Lines,
    Kind.LIST: _List,
    Kind.BY_LANGUAGE: _ByLanguage,
    Kind.NUMBER: _Number,
    Kind.WHOLE: _Whole,
    Kind.YES_NO: _YesNo,
    Kind.DAY: _Day,
}
