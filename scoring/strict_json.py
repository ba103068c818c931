"""JSON as RFC 8259 means it: no duplicate keys, no NaN, no Infinity, no number too large to hold."""

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NoReturn


class JsonProblem(ValueError):
    """Text that is not acceptable JSON; the message says what and where."""


def load_strict_json(text: str | bytes, *, keep_not_finite: bool = False) -> Any:
    """The value of a JSON text; bytes are UTF-8. Raises JsonProblem.

    With `keep_not_finite` NaN, Infinity and a number too large stay, for a caller that refuses each where it stands.
    """
    try:
        decoded = text.decode("utf-8") if isinstance(text, bytes) else text
        if decoded.startswith("\ufeff"):
            raise JsonProblem("begins with a byte order mark; save it as UTF-8 without one")
        return json.loads(
            decoded,
            object_pairs_hook=_object,
            parse_constant=float if keep_not_finite else _constant,
            parse_float=float if keep_not_finite else _float,
        )
    except UnicodeDecodeError as error:
        raise JsonProblem(f"not UTF-8 at byte {error.start}") from error
    except json.JSONDecodeError as error:
        raise JsonProblem(f"not JSON: {error.msg} in line {error.lineno}, column {error.colno}") from error
    except RecursionError as error:
        raise JsonProblem("nested too deeply") from error
    except JsonProblem:
        raise
    except ValueError as error:  # Python refuses to convert a whole number of more than 4300 digits
        raise JsonProblem("holds a number that is too long") from error


def faults_by_place(text: str) -> Iterator[str]:
    """Keys that stand twice and what is no number, each with its place in the text; nothing where the text is no JSON."""
    try:
        document = json.loads(text, object_pairs_hook=_Members, parse_constant=_Constant)
    except (ValueError, RecursionError):
        return
    yield from _faults(document, "")


class _Members(list[tuple[str, Any]]):
    """The members of one object as they stand in the text, a key that stands there twice included."""


@dataclass(frozen=True)
class _Constant:
    name: str


def _faults(value: object, place: str) -> Iterator[str]:
    where = place.strip()
    if isinstance(value, _Constant):
        yield f"{where}: {value.name} is not a number and cannot stand here"
    if isinstance(value, _Members):
        keys = [key for key, _ in value]
        for key in dict.fromkeys(keys):
            if keys.count(key) > 1:
                yield f"{where or 'the file'}: the key {shown(key)} stands there twice"
        for key, inner in value:
            yield from _faults(inner, f"{place} {key}")
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from _faults(inner, f"{place}[{number}]")


def shown(value: object) -> str:
    """A value from outside as it may stand in a message: short, and in ASCII, so that look-alike digits are seen."""
    try:
        text = json.dumps(value)
    except (TypeError, ValueError):
        text = type(value).__name__
    return text if len(text) <= 40 else text[:39] + "…"


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise JsonProblem(f"the key {shown(twice)} stands there twice")
    return members


def _constant(name: str) -> NoReturn:
    raise JsonProblem(f"{name} is not a number")


def _float(digits: str) -> float:
    number = float(digits)
    if not math.isfinite(number):
        raise JsonProblem(f"{digits[:40]} is too large a number")
    return number
