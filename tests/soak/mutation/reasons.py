"""The mutants that no test can notice, each with the reason, in survivors.toml."""

import json
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from tests.soak.mutation.mutants import Mutant

FILE = Path(__file__).with_name("survivors.toml")
MEMBERS = {"file", "function", "line", "changes", "reason"}
SHORTEST = 20
Key = tuple[str, str, str, str]


class ReasonProblem(ValueError):
    """A reason that is not understood, stands there twice or says nothing."""


def read_reasons(text: str) -> Mapping[Key, str]:
    """The reason by the key of the mutant."""
    reasons: dict[Key, str] = {}
    for entry in tomllib.loads(text).get("survivor", []):
        for key in _keys(entry):
            if key in reasons:
                raise ReasonProblem(f"{key} stands there twice")
            reasons[key] = entry["reason"]
    return reasons


def _keys(entry: dict[str, Any]) -> list[Key]:
    if set(entry) != MEMBERS or not entry["changes"]:
        raise ReasonProblem(f"a survivor has {', '.join(sorted(MEMBERS))}: {entry}")
    if len(entry["reason"]) < SHORTEST:
        raise ReasonProblem(f"the reason says too little: {entry}")
    return [(entry["file"], entry["function"], entry["line"], change) for change in entry["changes"]]


def entry_for(mutants: Iterable[Mutant]) -> str:
    """What to put into survivors.toml for these, a reason still to be written; one entry a line of code."""
    by_line: dict[tuple[str, str, str], list[str]] = {}
    for each in mutants:
        by_line.setdefault(each.key[:3], []).append(each.change)
    return "\n".join(_entry(*place, changes) for place, changes in by_line.items())


def _entry(file: str, function: str, line: str, changes: list[str]) -> str:
    told = "\n".join(f"  {json.dumps(change, ensure_ascii=False)}," for change in changes)
    names = "\n".join(
        f"{name} = {json.dumps(value, ensure_ascii=False)}"
        for name, value in (("file", file), ("function", function), ("line", line))
    )
    return f'[[survivor]]\n{names}\nchanges = [\n{told}\n]\nreason = ""\n'
