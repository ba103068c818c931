"""All instruments, texts and follow-up plans of the program, loaded once and refused as a whole when one is wrong."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any

from scoring.data_reader import DataProblem
from scoring.definition import Definition
from scoring.parse import parse_definition
from scoring.plan_parts import check_plan_parts
from scoring.strict_json import JsonProblem, load_strict_json, shown
from scoring.text import check_text

Document = Mapping[str, Any]
NO_INSTRUMENTS = ("plans", "ladders")  # folders beside those of the instruments


class UnknownInstrument(LookupError):
    """No instrument of that name or version; the message lists what there is."""


@dataclass(frozen=True, eq=False)
class Library:
    """Keys are specs such as `sst@1`. Documents are the files as loaded, shared: nobody changes them. Equal only to itself.

    A pickle holds the documents, and loading it parses them again: rules are functions made for their definition.
    """

    definitions: Mapping[str, Definition]
    definition_documents: Mapping[str, Document]
    text_documents: Mapping[str, Mapping[str, Document]]
    plans: Mapping[str, Document]

    def __reduce__(self) -> tuple[Any, ...]:
        if self.definitions.keys() != self.definition_documents.keys():
            raise TypeError("a library with other definitions than its documents has no pickle")
        return _of_documents, (self.definition_documents, self.text_documents, self.plans)

    def instrument(self, spec: str) -> Definition:
        """The definition of `sst@1`, or of the newest version for `sst`. Raises UnknownInstrument."""
        if "@" in spec:
            found = self.definitions.get(spec)
        else:
            versions = [each for each in self.definitions.values() if each.id == spec]
            found = max(versions, key=lambda each: int(each.version), default=None)
        if found is None:
            there_are = ", ".join(sorted(self.definitions))
            raise UnknownInstrument(f"there is no instrument {shown(spec)}; there are: {there_are}")
        return found

    def texts(self, spec: str) -> Mapping[str, Document]:
        """The shipped texts by language. Licensed texts that a clinic installed are not here."""
        return self.text_documents[self.instrument(spec).spec]

    def definition_document(self, spec: str) -> Document:
        """definition.json as a due sheet carries it."""
        return self.definition_documents[self.instrument(spec).spec]


@cache
def load_library() -> Library:
    """The library shipped with the program. Raises DataProblem at the first file that is not fully understood."""
    return read_library(files("instruments"))


def read_library(root: Traversable) -> Library:
    """The library in a folder laid out as instruments/README.md says."""
    definitions: dict[str, Definition] = {}
    definition_documents: dict[str, Document] = {}
    texts: dict[str, Mapping[str, Document]] = {}
    folders = [each for each in _folders(root) if each.name not in NO_INSTRUMENTS]
    for folder, place in ((each, f"{parent.name}/{each.name}") for parent in folders for each in _folders(parent)):
        document = _load(folder / "definition.json", f"{place}/definition.json")
        definition = parse_definition(document, f"{place}/definition.json")
        if f"{definition.id}/{definition.version}" != place:
            raise DataProblem(f"{place}/definition.json", "id and version must be those of the folder")
        definitions[definition.spec] = definition
        definition_documents[definition.spec] = document
        texts[definition.spec] = _texts(definition, folder / "text", f"{place}/text")
    return Library(definitions, definition_documents, texts, _plans(root / "plans", definitions))


def _of_documents(
    definitions: Mapping[str, Document], texts: Mapping[str, Mapping[str, Document]], plans: Mapping[str, Document]
) -> Library:
    parsed = {spec: parse_definition(document, spec) for spec, document in definitions.items()}
    return Library(parsed, definitions, texts, plans)


def _texts(definition: Definition, folder: Traversable, place: str) -> Mapping[str, Document]:
    texts: dict[str, Document] = {}
    for file in _json_files(folder):
        document = check_text(definition, _load(file, f"{place}/{file.name}"), f"{place}/{file.name}")
        if file.name != f"{document['language']}.json":
            raise DataProblem(f"{place}/{file.name}", "must be named after its language")
        texts[document["language"]] = document
    if not texts:
        raise DataProblem(place, "holds no text")
    return texts


def _plans(folder: Traversable, definitions: Mapping[str, Definition]) -> Mapping[str, Document]:
    plans: dict[str, Document] = {}
    for parent in _folders(folder) if folder.is_dir() else ():
        for file in _json_files(parent):
            place = f"plans/{parent.name}/{file.name}"
            document = _load(file, place)
            check_plan_parts(document, definitions, place)
            if f"{document.get('id')}/{document.get('version')}.json" != f"{parent.name}/{file.name}":
                raise DataProblem(place, "id and version must be those of the file")
            plans[f"{document['id']}@{document['version']}"] = document
    return plans


def _load(file: Traversable, place: str) -> Any:
    try:
        return load_strict_json(file.read_bytes())
    except JsonProblem as problem:
        raise DataProblem(place, str(problem)) from problem
    except FileNotFoundError as error:
        raise DataProblem(place, "is missing") from error


def _json_files(folder: Traversable) -> list[Traversable]:
    if not folder.is_dir():
        return []
    files_there = (each for each in folder.iterdir() if each.name.endswith(".json") and not each.name.startswith("."))
    return sorted(files_there, key=lambda entry: entry.name)


def _folders(root: Traversable) -> Iterator[Traversable]:
    """Folders in the order of their names; hidden ones and Python's own are no data."""
    for each in sorted(root.iterdir(), key=lambda entry: entry.name):
        if each.is_dir() and not each.name.startswith((".", "_")):
            yield each
