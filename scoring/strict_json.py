"""JSON as RFC 8259 means it: no duplicate keys, no NaN, no Infinity, no number too large to hold."""

import json
import math
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
