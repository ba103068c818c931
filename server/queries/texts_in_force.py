"""The words in force: a clinic's licensed texts before the descriptive ones of the program, and which of them may be sent.

Rules:

1. For an instrument and a language the licensed text in force is used, else the descriptive one; an instrument that needs its
   owner's permission has no descriptive text to send.
2. A live clinic sends the descriptive text of an instrument only after a data manager decided on that very text. The project's own
   forms need no decision, and a demo needs none. A decision that was withdrawn covers nothing any more.
3. A licensed text whose bytes are no longer those that were installed is not sent, and no other replaces it.
4. A sheet carries the texts of the clinic's languages and the patient's own that may be sent. An instrument is withheld where the
   patient's own language has a text that may not be sent, or where no text is left.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import ColumnElement, and_, or_, select
from sqlalchemy.orm import Session

from scoring.definition import Definition
from scoring.library import Library
from server.models.text import InstalledText, TextDecision, TextWithdrawal
from server.queries.clock import the_clinic

Document = Mapping[str, Any]
_INSTALLED = select(InstalledText).where(InstalledText.replaced_at.is_(None))


@dataclass(frozen=True)
class Wording:
    """`installed`: (spec, language) to the licensed text in force. `altered`: ids of those whose bytes have changed.

    `decided`: ids of the descriptive texts that were decided on; None in a demo, where nothing need be.
    """

    library: Library
    languages: tuple[str, ...]
    installed: Mapping[tuple[str, str], Document]
    altered: frozenset[str]
    decided: frozenset[str] | None

    def texts(self, spec: str, language: str) -> dict[str, Document]:
        """By language, what a due sheet may carry for a patient of `language`."""
        definition = self.library.instrument(spec)
        return {
            code: text for code, text in self.in_force(definition, language).items() if self.may_send(definition, text)
        }

    def stopped(self, spec: str, language: str) -> list[str]:
        """Ids of the texts for which this instrument is withheld from a patient of `language`; empty when it can be asked."""
        definition = self.library.instrument(spec)
        found = self.in_force(definition, language)
        own = found.get(language)
        if own is not None:
            return [] if self.may_send(definition, own) else [own["text_id"]]
        if any(self.may_send(definition, text) for text in found.values()):
            return []
        return [text["text_id"] for text in found.values()] or [f"{spec}/{language}"]

    def withholds(self, specs: Iterable[str], language: str) -> bool:
        """Whether a form of these instruments is withheld from a patient of `language`."""
        return any(self.stopped(spec, language) for spec in specs)

    def in_force(self, definition: Definition, *more_languages: str) -> dict[str, Document]:
        """By language, whether or not it may be sent yet: the clinic's languages, then `more_languages`."""
        shipped = self.library.texts(definition.spec) if definition.status == "usable" else {}
        found: dict[str, Document] = {}
        for code in dict.fromkeys((*self.languages, *more_languages)):
            text = self.installed.get((definition.spec, code), shipped.get(code))
            if text is not None:
                found[code] = text
        return found

    def licensed(self) -> frozenset[str]:
        """The instruments that have an unaltered licensed text in every language of the clinic."""
        specs = {spec for spec, _language in self.installed}
        return frozenset(spec for spec in specs if all(self._has_licensed(spec, code) for code in self.languages))

    def _has_licensed(self, spec: str, language: str) -> bool:
        text = self.installed.get((spec, language))
        return text is not None and text["text_id"] not in self.altered

    def may_send(self, definition: Definition, text: Document) -> bool:
        return text["text_id"] not in self.altered and not self.needs_decision(definition, text)

    def needs_decision(self, definition: Definition, text: Document) -> bool:
        if self.decided is None or needs_no_decision(definition, text):
            return False
        return text["text_id"] not in self.decided


def needs_no_decision(definition: Definition, text: Document) -> bool:
    """The project's own forms, and what is licensed."""
    return definition.kind == "form" or text["kind"] != "descriptive"


def read_wording(session: Session, library: Library, *, asked_at: datetime | None = None) -> Wording:
    """What is in force now. With `asked_at`, a descriptive text also counts as decided on if it was at that instant."""
    clinic = the_clinic(session)
    installed, altered = {}, set()
    for row in session.scalars(_INSTALLED):
        installed[(f"{row.instrument}@{row.instrument_version}", row.language)] = installed_document(row)
        if is_altered(row):
            altered.add(row.text_id)
    languages = tuple(clinic.languages.split(","))
    return Wording(library, languages, installed, frozenset(altered), _decided(session, clinic.mode, asked_at))


def is_altered(row: InstalledText) -> bool:
    """Whether the bytes are no longer those that were installed, or the row says something else of them than they do."""
    if hashlib.sha256(row.content.encode("utf-8", "surrogatepass")).digest() != row.sha256:
        return True
    says = row.text_id, f"{row.instrument}@{row.instrument_version}", row.language
    document = _document(row.content)
    return says != tuple(document.get(name) for name in ("text_id", "instrument", "language"))


def installed_document(row: InstalledText) -> Document:
    """The text as it was installed; of an altered one no more than what the row says of it."""
    if is_altered(row):
        spec = f"{row.instrument}@{row.instrument_version}"
        head = {"text_id": row.text_id, "instrument": spec, "language": row.language, "kind": "licensed"}
        return {**head, "title": "", "recall": "", "items": {}}
    return _document(row.content)


@lru_cache(maxsize=256)
def _document(content: str) -> Document:
    """Shared by all who ask; nobody changes it."""
    document: Document = json.loads(content)
    return document


def _decided(session: Session, mode: str, asked_at: datetime | None) -> frozenset[str] | None:
    if mode == "demo":
        return None
    standing: ColumnElement[bool] = TextDecision.id.not_in(select(TextWithdrawal.decision_id))
    if asked_at is not None:
        taken_back = select(TextWithdrawal.decision_id).where(TextWithdrawal.withdrawn_at <= asked_at)
        standing = or_(standing, and_(TextDecision.decided_at <= asked_at, TextDecision.id.not_in(taken_back)))
    found = session.execute(select(TextDecision.text_ids, TextDecision.sha256).where(standing))
    # A list that was altered since covers nothing.
    sound = [ids for ids, sha256 in found if hashlib.sha256(ids.encode("utf-8", "surrogatepass")).digest() == sha256]
    return frozenset(text_id for ids in sound for text_id in ids.split(","))
