"""Reads data files strictly: what is not fully understood is refused, with its place and the reason."""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from scoring.strict_json import shown


class DataProblem(ValueError):
    """A data file that cannot be used. `place` is a path such as `instruments/sst/1/definition.json items[2].codes`."""

    def __init__(self, place: str, reason: str) -> None:
        super().__init__(f"{place}: {reason}")
        self.place = place
        self.reason = reason


@dataclass(frozen=True)
class Node:
    """One JSON object and where it stands."""

    data: Mapping[str, Any]
    place: str

    @classmethod
    def of(cls, data: object, place: str) -> "Node":
        if not isinstance(data, dict):
            raise DataProblem(place, "must be an object")
        return cls(data, place)

    def at(self, key: str) -> str:
        return f"{self.place} {key}"

    def refuse(self, key: str, reason: str) -> DataProblem:
        return DataProblem(self.at(key), reason)

    def has(self, key: str) -> bool:
        return key in self.data

    def only(self, *known: str) -> None:
        """Refuses every member that is not named."""
        for key in sorted(self.data.keys() - set(known)):
            raise self.refuse(key, f"is not understood here; known: {', '.join(known)}")

    def value(self, key: str) -> Any:
        if key not in self.data:
            raise self.refuse(key, "is missing")
        return self.data[key]

    def text(self, key: str, *, pattern: str = r".+", longest: int = 500, may_be_empty: bool = False) -> str:
        value = self.value(key)
        if not isinstance(value, str):
            raise self.refuse(key, "must be a text")
        if value == "" and may_be_empty:
            return value
        if len(value) > longest or not value.strip() or not re.fullmatch(pattern, value, re.ASCII):
            raise self.refuse(key, f"{shown(value)} does not have the form it should have")
        return value

    def word(self, key: str, words: Collection[str]) -> str:
        value = self.text(key)
        if value not in words:
            raise self.refuse(key, f"{shown(value)} is none of {', '.join(words)}")
        return value

    def flag(self, key: str) -> bool:
        value = self.value(key)
        if not isinstance(value, bool):
            raise self.refuse(key, "must be true or false")
        return value

    def whole(self, key: str, low: int, high: int) -> int:
        return whole(self.value(key), self.at(key), low, high)

    def number(self, key: str) -> int | float:
        value = self.value(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.refuse(key, "must be a number")
        return value

    def pair(self, key: str) -> tuple[int | float, int | float]:
        values = self.list(key)
        if len(values) != 2 or any(isinstance(each, bool) or not isinstance(each, int | float) for each in values):
            raise self.refuse(key, "must be two numbers")
        return values[0], values[1]

    def list(self, key: str, *, may_be_empty: bool = False) -> list[Any]:
        value = self.value(key)
        if not isinstance(value, list) or not (value or may_be_empty):
            raise self.refuse(key, "must be a list" if may_be_empty else "must be a list with something in it")
        return value

    def codes(self, key: str) -> tuple[int, ...]:
        values = [whole(each, f"{self.at(key)}[{n}]", -1000, 1000) for n, each in enumerate(self.list(key))]
        self._distinct(key, values)
        return tuple(values)

    def texts(self, key: str) -> tuple[str, ...]:
        values = self.list(key)
        for n, each in enumerate(values):
            if not isinstance(each, str) or not each:
                raise self.refuse(f"{key}[{n}]", "must be a text")
        self._distinct(key, values)
        return tuple(values)

    def node(self, key: str) -> "Node":
        return Node.of(self.value(key), self.at(key))

    def nodes(self, key: str, *, may_be_empty: bool = False) -> "tuple[Node, ...]":
        values = self.list(key, may_be_empty=may_be_empty)
        return tuple(Node.of(each, f"{self.at(key)}[{n}]") for n, each in enumerate(values))

    def _distinct(self, key: str, values: Sequence[object]) -> None:
        if len(set(values)) != len(values):
            raise self.refuse(key, "holds something twice")


def whole(value: object, place: str, low: int, high: int) -> int:
    """A whole number within its limits; true and false are not numbers."""
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise DataProblem(place, f"must be a whole number from {low} to {high}")
    return value
