"""The catalogues hold what code and templates say, and patients read no English where another language was promised."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog, Message

from server.words import catalogue as catalogues
from server.words.catalogue import CatalogueNotCompiled, Domain, languages, not_compiled, read_catalogue
from server.words.term import CONTEXT
from tests.words.catalogues import brought_up_to_date, catalogue_files, extracted, read

DOMAINS: tuple[Domain, ...] = ("patient", "staff")
EVERY_FILE = [(domain, path) for domain in DOMAINS for path in catalogue_files(domain)]


def texts(of: str | tuple[str, ...] | list[str] | None) -> tuple[str, ...]:
    return (of,) if isinstance(of, str) else tuple(of or ())


def sentences(catalogue: Catalog) -> Iterator[Message]:
    return (each for each in catalogue if each.id)


def placeholders(text: str, *, is_word: bool = False) -> list[str]:
    """Values, and tags; a word of the field tables is shown as text, so that no `<` in it begins a tag."""
    return sorted(set(re.findall(r"%\(\w+\)[a-z]" if is_word else r"%\(\w+\)[a-z]|</?\w+", text)))


def held(said: tuple[str, ...], message: Message) -> set[tuple[str, ...]]:
    return {tuple(placeholders(text, is_word=message.context == CONTEXT)) for text in said}


def holes(catalogue: Catalog) -> list[str]:
    """The sentences that a reader of this language would not get as meant, each with what is wrong."""
    found = []
    for each in sentences(catalogue):
        english, own = texts(each.id), texts(each.string)
        if each.fuzzy or not own or not all(own):
            found.append(f"{english[0]}: no translation")
        elif held(own, each) - held(english, each):
            found.append(f"{english[0]}: other placeholders")
    return found


@pytest.mark.parametrize(("domain", "path"), EVERY_FILE, ids=str)
def test_a_catalogue_holds_the_sentences_of_code_and_templates(domain: Domain, path: Path) -> None:
    assert path.read_bytes() == brought_up_to_date(path, extracted(domain)), "run python -m tests.words.catalogues"


def test_what_patients_read_is_whole_in_every_language() -> None:
    files = catalogue_files("patient")
    found = {path.parent.parent.name: holes(read(path)) for path in files}
    assert "es" in found and languages("patient") == ("en", *sorted(found))
    assert found == {language: [] for language in found}
    assert all(len(list(sentences(read(path)))) > 20 for path in files)


@pytest.mark.parametrize("path", catalogue_files("staff"), ids=str)
def test_what_is_translated_for_staff_has_the_placeholders_of_its_sentence(path: Path) -> None:
    assert [hole for hole in holes(read(path)) if not hole.endswith("no translation")] == []


def test_a_hole_is_found() -> None:
    catalogue = Catalog(locale="es")
    catalogue.add("Hello %(name)s", "Hola %(name)s")
    catalogue.add("It takes %(minutes)s", "Se tarda %(minuts)s")
    catalogue.add("one", "uno", flags=["fuzzy"])
    catalogue.add(("a day", "%(count)s days"), ("un día", ""))
    assert holes(catalogue) == [
        "It takes %(minutes)s: other placeholders",
        "one: no translation",
        "a day: no translation",
    ]


def test_a_catalogue_that_is_not_compiled_is_told_and_never_english(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "de" / "LC_MESSAGES"
    folder.mkdir(parents=True)
    (folder / "patient.po").write_text("", encoding="utf-8")
    monkeypatch.setattr(catalogues, "CATALOGUES", tmp_path)
    assert "patient in de" in str(not_compiled())
    with pytest.raises(CatalogueNotCompiled, match="patient in de"):
        read_catalogue("patient", "de")
