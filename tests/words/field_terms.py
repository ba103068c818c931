"""The words of the field tables, read from the tables themselves: labels, units, hints, and the words of every list."""

import importlib
from collections.abc import Iterator, Mapping
from pathlib import Path

from server.fields.field import Field
from server.words.term import Term
from tests.structure.tree import project_files

TABLES = "server/fields/"


def field_terms() -> Iterator[tuple[Path, Term]]:
    """Each with the file of its table; what several tables hold comes from each of them."""
    for path in sorted(path for path in project_files() if path.as_posix().startswith(TABLES) and path.suffix == ".py"):
        module = importlib.import_module(".".join(path.with_suffix("").parts).removesuffix(".__init__"))
        for name, value in vars(module).items():
            if name.isupper():
                yield from ((path, found) for found in terms_in(value))


def terms_in(value: object) -> Iterator[Term]:
    """Everything in a table, a list of words or one row that a page would say in its reader's language; no empty text."""
    if isinstance(value, Term):
        yield from (value,) * bool(value)
    elif isinstance(value, Field):
        for part in (value.label, value.unit, value.hint, value.words):
            yield from terms_in(part)
    elif isinstance(value, Mapping):
        for key, word in value.items():
            yield from (*terms_in(key), *terms_in(word))
    elif isinstance(value, tuple):
        for each in value:
            yield from terms_in(each)
