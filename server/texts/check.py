"""A file with a licensed text, checked against the definition before anything is kept. Every message names the place in plain words."""

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from scoring.data_reader import DataProblem
from scoring.definition import Definition
from scoring.json_file import check_sha256, decode_file, load_file
from scoring.library import Library, UnknownInstrument
from scoring.strict_json import JsonProblem, shown
from scoring.text import text_problems
from server.words.languages import direction_of, language_problem

LONGEST_BYTES = 200_000
MOST_SAID = 20  # of a file that is wrong throughout the first faults are enough
VERBS = ("is ", "must ", "holds ", "begins ", "belongs ")  # a reason that goes on where its place ends


class TextProblem(ValueError):
    """A file that cannot be installed; `problems` are sentences, each with its place."""

    def __init__(self, problems: list[str]) -> None:
        more = len(problems) - MOST_SAID
        self.problems = problems[:MOST_SAID] + ([f"and {more} more like these"] if more > 0 else [])
        super().__init__("\n".join(self.problems))


@dataclass(frozen=True)
class CheckedText:
    """A file that fits its definition. `content` is all of it, `sha256` that of its bytes."""

    definition: Definition
    document: Mapping[str, Any]
    content: str
    sha256: bytes

    @property
    def text_id(self) -> str:
        return str(self.document["text_id"])

    @property
    def language(self) -> str:
        return str(self.document["language"])

    @property
    def direction(self) -> str:
        return direction_of(self.language)


def check_file(data: bytes, library: Library, *, stated_sha256: str = "") -> CheckedText:
    """Raises TextProblem with everything that is wrong. `stated_sha256`: what the sender said the file's hash is, if anything."""
    content, document = _read(data, stated_sha256)
    definition = _definition(document, library)
    problems = [_sentence(problem) for problem in text_problems(definition, document, "")]
    language = document.get("language")
    wrong = language_problem(language) if isinstance(language, str) else None
    if wrong and not problems:
        problems.append(f"language: {wrong}")
    if problems:
        raise TextProblem(problems)
    return CheckedText(definition, document, content, hashlib.sha256(data).digest())


def _sentence(problem: DataProblem) -> str:
    place = problem.place.strip()
    if problem.reason.startswith('"" '):  # as a draft has it
        return f"{re.sub(r'^items ', 'item ', place)} is empty; fill it in"
    joint = " " if problem.reason.startswith(VERBS) else ": "
    return f"{re.sub(r'^items ', 'item ', place)}{joint}{problem.reason}" if place else problem.reason


def _read(data: bytes, stated_sha256: str) -> tuple[str, dict[str, Any]]:
    try:
        check_sha256(data, stated_sha256)
        content = decode_file(data, LONGEST_BYTES, "a text")
        return content, load_file(content)
    except JsonProblem as problem:
        raise TextProblem([re.sub(r"^items ", "item ", str(problem))]) from problem


def _definition(document: Mapping[str, Any], library: Library) -> Definition:
    spec = document.get("instrument")
    if not isinstance(spec, str) or "@" not in spec:
        raise TextProblem([f"instrument: must name instrument and version, such as sst@1, but is {shown(spec)}"])
    try:
        definition = library.instrument(spec)
    except UnknownInstrument as problem:
        raise TextProblem([f"instrument: {_versions(spec, library) or problem}"]) from problem
    if definition.status == "unverified":
        raise TextProblem(
            [f"instrument: part of {spec} was not read in a published source, so no text can be checked against it yet"]
        )
    if document.get("kind") != "licensed":
        raise TextProblem([f"kind: must be licensed, but is {shown(document.get('kind'))}"])
    return definition


def _versions(spec: str, library: Library) -> str | None:
    name, _, version = spec.partition("@")
    there_are = [each.version for each in library.definitions.values() if each.id == name]
    if not there_are:
        return None
    return f"{name} has no version {shown(version)}; its versions are {', '.join(sorted(there_are, key=int))}"
