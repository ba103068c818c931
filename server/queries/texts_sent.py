"""Which words a phone can have shown: what it says about its texts is checked, since files tell by it what was asked under a licence.

Rules:

1. A text is known if it came with the program, or was ever installed here for that very instrument version. One whose bytes were
   altered since is not.
2. Its language is one of the clinic's, or the patient's own, or was the patient's own since the link's first fetch: the form may have
   been begun before staff changed it.
3. A descriptive text that needs a decision was covered by one at some time between the link's first fetch and the receipt of the form:
   a phone may keep a form with the words of an earlier sheet.
4. The form's own language, which is that of the phone's screens, may also be the one in which the app starts.
"""

import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from scoring.library import Library
from server.models import FieldChange
from server.models.text import InstalledText, TextDecision, TextWithdrawal
from server.queries.clock import the_clinic
from server.queries.texts_in_force import Document, is_altered, needs_no_decision

APP_STARTS_IN = "en"


@dataclass(frozen=True)
class Decision:
    """`withdrawn_at`: None while it stands."""

    text_ids: frozenset[str]
    decided_at: datetime
    withdrawn_at: datetime | None

    def stood(self, begin: datetime, end: datetime) -> bool:
        return self.decided_at <= end and (self.withdrawn_at is None or self.withdrawn_at >= begin)


@dataclass(frozen=True)
class Shown:
    """When a phone can have shown something, and in which languages because they were the patient's own."""

    languages: frozenset[str]
    begin: datetime
    end: datetime


@dataclass(frozen=True)
class TextsSent:
    """`installed`: every licensed text that was ever installed and is unaltered, by its id, with instrument version and language.

    `decisions`: None in a demo, where none are needed.
    """

    library: Library
    languages: frozenset[str]
    installed: Mapping[str, tuple[str, str]]
    decisions: Sequence[Decision] | None

    def may_be(self, spec: str, text_id: str, shown: Shown) -> bool:
        """Whether a phone can have shown this text of this instrument version."""
        if text_id in self.installed:
            of_spec, language = self.installed[text_id]
            return of_spec == spec and self._is_offered(language, shown)
        text = self._shipped(spec, text_id)
        return text is not None and self._is_offered(text["language"], shown) and self._was_decided(spec, text, shown)

    def may_be_in(self, language: str, shown: Shown) -> bool:
        """Whether the phone's own screens can have been in this language."""
        return language == APP_STARTS_IN or self._is_offered(language, shown)

    def _is_offered(self, language: str, shown: Shown) -> bool:
        return language in self.languages or language in shown.languages

    def _shipped(self, spec: str, text_id: str) -> Document | None:
        if self.library.instrument(spec).status != "usable":
            return None
        return next((text for text in self.library.texts(spec).values() if text["text_id"] == text_id), None)

    def _was_decided(self, spec: str, text: Document, shown: Shown) -> bool:
        if self.decisions is None or needs_no_decision(self.library.instrument(spec), text):
            return True
        return any(text["text_id"] in each.text_ids and each.stood(shown.begin, shown.end) for each in self.decisions)


@dataclass(frozen=True)
class OwnLanguages:
    """Languages that patients had before: by patient, until when, and which."""

    earlier: Mapping[int, Sequence[tuple[datetime, str]]]

    def since(self, begin: datetime, patient_id: int, now: str) -> frozenset[str]:
        """With the one of now."""
        return frozenset({now, *(language for until, language in self.earlier.get(patient_id, ()) if until >= begin)})


def read_own_languages(session: Session, patient_ids: Collection[int]) -> OwnLanguages:
    """One statement."""
    of_patients = (FieldChange.table_name == "patient", FieldChange.row_id.in_(patient_ids))
    earlier: dict[int, list[tuple[datetime, str]]] = {}
    for row in session.scalars(select(FieldChange).where(*of_patients, FieldChange.field == "language")):
        earlier.setdefault(row.row_id, []).append((row.at, row.old or ""))
    return OwnLanguages(earlier)


def read_texts_sent(session: Session, library: Library) -> TextsSent:
    """Two or three statements."""
    clinic = the_clinic(session)
    rows = session.scalars(select(InstalledText)).all()
    installed = {
        row.text_id: (f"{row.instrument}@{row.instrument_version}", row.language) for row in rows if not is_altered(row)
    }
    decisions = None if clinic.mode == "demo" else _decisions(session)
    return TextsSent(library, frozenset(clinic.languages.split(",")), installed, decisions)


def _decisions(session: Session) -> list[Decision]:
    """A list that was altered since covers nothing."""
    rows = session.execute(
        select(TextDecision, TextWithdrawal.withdrawn_at).outerjoin(
            TextWithdrawal, TextWithdrawal.decision_id == TextDecision.id
        )
    )
    return [
        Decision(frozenset(row.text_ids.split(",")), row.decided_at, withdrawn_at)
        for row, withdrawn_at in rows
        if hashlib.sha256(row.text_ids.encode("utf-8", "surrogatepass")).digest() == row.sha256
    ]
