"""A file with a licensed text, checked against the definition before anything is kept. Every message names the place in plain words."""

import hashlib
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from scoring.definition import Definition
from scoring.library import Library, UnknownInstrument
from scoring.reading import DataProblem
from scoring.strict_json import JsonProblem, load_strict_json, shown
from scoring.text import text_problems
from server.texts.languages import direction_of, language_problem

LONGEST_BYTES = 200_000
BYTE_ORDER_MARK = b"\xef\xbb\xbf"
MOST_SAID = 20  # of a file that is wrong throughout the first faults are enough
VERBS = ("is ", "must ", "holds ", "begins ", "belongs ")  # a reason that goes on where its place ends
_HASH = re.compile(r"[0-9a-f]{64}")


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
    digest = hashlib.sha256(data).digest()
    _check_hash(digest, stated_sha256)
    content = _decoded(data)
    document = _loaded(content)
    definition = _definition(document, library)
    problems = [_sentence(problem) for problem in text_problems(definition, document, "")]
    language = document.get("language")
    wrong = language_problem(language) if isinstance(language, str) else None
    if wrong and not problems:
        problems.append(f"language: {wrong}")
    if problems:
        raise TextProblem(problems)
    return CheckedText(definition, document, content, digest)


def _sentence(problem: DataProblem) -> str:
    place = problem.place.strip()
    joint = " " if problem.reason.startswith(VERBS) else ": "
    return f"{re.sub(r'^items ', 'item ', place)}{joint}{problem.reason}" if place else problem.reason


def _check_hash(digest: bytes, stated: str) -> None:
    wanted = re.sub(r"[\s:]", "", stated).lower()
    if wanted and not _HASH.fullmatch(wanted):
        raise TextProblem([f"SHA-256: {shown(stated)} is not 64 digits of 0-9 and a-f"])
    if wanted and wanted != digest.hex():
        raise TextProblem([f"SHA-256: the file has {digest.hex()}, not the one stated; it was changed on the way"])


def _decoded(data: bytes) -> str:
    if not data:
        raise TextProblem(["the file is empty"])
    if len(data) > LONGEST_BYTES:
        raise TextProblem([f"the file has {len(data):,} bytes; a text has at most {LONGEST_BYTES:,}"])
    if data.startswith(BYTE_ORDER_MARK):
        raise TextProblem(["the file begins with a byte-order mark; save it as UTF-8 without one"])
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise TextProblem([f"the file is not UTF-8 (byte {error.start}); save it as UTF-8"]) from error


def _loaded(content: str) -> dict[str, Any]:
    try:
        document = load_strict_json(content)
    except JsonProblem as problem:
        raise TextProblem([next(_places(content), str(problem))]) from problem
    if not isinstance(document, dict):
        raise TextProblem(["the file must hold one JSON object, as instruments/README.md shows it"])
    return document


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
            [f"instrument: the structure of {spec} is known from memory only, so no text can be checked against it yet"]
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


class _Pairs(list[tuple[str, Any]]):
    """The members of one object as they stand in the file, a key that stands there twice included."""


@dataclass(frozen=True)
class _Constant:
    name: str


def _places(content: str) -> Iterator[str]:
    """Where keys stand twice and where something is no number, for a file that was refused for that."""
    try:
        found = json.loads(content, object_pairs_hook=_Pairs, parse_constant=_Constant)
    except (ValueError, RecursionError):
        return
    yield from _faults(found, "")


def _faults(value: object, place: str) -> Iterator[str]:
    where = re.sub(r"^items ", "item ", place.strip())
    if isinstance(value, _Constant):
        yield f"{where}: {value.name} is not a number and cannot stand here"
    if isinstance(value, _Pairs):
        keys = [key for key, _ in value]
        yield from (
            f"{where or 'the file'}: the key {shown(key)} stands there twice"
            for key in dict.fromkeys(keys)
            if keys.count(key) > 1
        )
        for key, inner in value:
            yield from _faults(inner, f"{place} {key}")
    elif isinstance(value, list):
        for inner in value:
            yield from _faults(inner, place)
