"""What words each instrument has: licensed, only descriptive, or none, by language; and what a new file is compared with."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.definition import Definition
from scoring.library import Library
from server.models import InstalledText
from server.queries.texts_in_force import Document, Wording, installed_document, is_altered, read_wording
from server.texts.check import CheckedText
from server.texts.decision import descriptive_in_use

FALLBACK = "en"


@dataclass(frozen=True)
class TextLine:
    """One instrument in one language. `kind`: `licensed`, `descriptive`, or `none` where there is no text to send.

    `installed` is there for a licensed text; `altered` when its bytes are no longer those that were installed; `undecided` when a
    live clinic asks the instrument and may not send this text yet; `offered` when it is one of the clinic's languages.
    """

    definition: Definition
    language: str
    kind: str
    text_id: str
    installed: InstalledText | None = None
    altered: bool = False
    undecided: bool = False
    offered: bool = True


def list_texts(session: Session, library: Library) -> dict[Definition, list[TextLine]]:
    """Every instrument, then the project's forms, each with the clinic's languages and those that have an installed text."""
    wording = read_wording(session, library)
    rows = {row.text_id: row for row in installed_texts(session) if row.replaced_at is None}
    undecided = {each.text_id for each in descriptive_in_use(session, library) if not each.decided}
    spoken = defaultdict(list)
    for spec, language in wording.installed:
        spoken[spec].append(language)
    ordered = sorted(library.definitions.values(), key=lambda each: (each.kind == "form", each.title))
    return {
        definition: [
            _line(definition, code, wording, rows, undecided) for code in _languages(wording, spoken[definition.spec])
        ]
        for definition in ordered
    }


def _languages(wording: Wording, more: list[str]) -> list[str]:
    return list(dict.fromkeys((*wording.languages, *sorted(more))))


def _line(
    definition: Definition, language: str, wording: Wording, rows: dict[str, InstalledText], undecided: set[str]
) -> TextLine:
    text = wording.in_force(definition, language).get(language)
    offered = language in wording.languages
    if text is None:
        return TextLine(definition, language, "none", "", offered=offered)
    text_id = text["text_id"]
    return TextLine(
        definition,
        language,
        text["kind"],
        text_id,
        rows.get(text_id),
        text_id in wording.altered,
        text_id in undecided,
        offered,
    )


def installed_texts(session: Session) -> list[InstalledText]:
    """All that were ever installed: by instrument and language, the newest first."""
    newest = InstalledText.installed_at.desc()
    order = (InstalledText.instrument, InstalledText.instrument_version, InstalledText.language, newest)
    return list(session.scalars(select(InstalledText).order_by(*order)))


def compared_with(session: Session, library: Library, text: CheckedText) -> Iterator[tuple[str, Document]]:
    """What a new text is shown beside: the installed one of its language, and the descriptive one of it or else in English."""
    spec, shipped = text.definition.spec, library.texts(text.definition.spec)
    for row in installed_texts(session):
        same = (f"{row.instrument}@{row.instrument_version}", row.language) == (spec, text.language)
        if same and row.replaced_at is None and not is_altered(row) and row.text_id != text.text_id:
            yield f"the installed text {row.text_id}", installed_document(row)
    beside = shipped.get(text.language) or shipped.get(FALLBACK)
    if beside is not None:
        yield f"the descriptive text {beside['text_id']}", beside
