"""Which catalogues there are, and reading one. English is the source language: its sentences stand in code and templates."""

from functools import cache
from gettext import GNUTranslations, NullTranslations
from pathlib import Path
from typing import Literal

Domain = Literal["patient", "staff"]
CATALOGUES = Path(__file__).parent / "catalogues"
SOURCE_LANGUAGE = "en"


class CatalogueNotCompiled(Exception):
    """A language has a catalogue of sentences, but not the compiled file that the program reads."""


def languages(domain: Domain) -> tuple[str, ...]:
    """English, and each language that has a catalogue of this domain."""
    found = (path.parent.parent.name for path in CATALOGUES.glob(f"*/LC_MESSAGES/{domain}.po"))
    return (SOURCE_LANGUAGE, *sorted(found))


def language_for(domain: Domain, wanted: str) -> str:
    """The language that is spoken when this one is asked for: itself, the language of which it is a region's, or else English."""
    known = languages(domain)
    return next((each for each in (wanted, wanted.split("-")[0]) if each in known), SOURCE_LANGUAGE)


def not_compiled() -> str | None:
    """Which compiled catalogues are missing, so that no server may start: patients would be written to in English. None: all are there."""
    missing = [path for path in sorted(CATALOGUES.glob("*/LC_MESSAGES/*.po")) if not path.with_suffix(".mo").is_file()]
    if not missing:
        return None
    names = ", ".join(f"{path.stem} in {path.parent.parent.name}" for path in missing)
    return f"catalogues of words are not compiled: {names}. In a checkout, `python hatch_build.py catalogues` compiles them."


@cache
def read_catalogue(domain: Domain, language: str) -> NullTranslations:
    """The compiled catalogue of a language of `languages`. Raises CatalogueNotCompiled."""
    if language == SOURCE_LANGUAGE:
        return NullTranslations()
    path = CATALOGUES / language / "LC_MESSAGES" / f"{domain}.mo"
    try:
        with path.open("rb") as file:
            return GNUTranslations(file)
    except FileNotFoundError as problem:
        raise CatalogueNotCompiled(not_compiled()) from problem
