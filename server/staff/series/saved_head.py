"""The line above the sentence: the saved series that the address was opened as; and the note that somebody has opened figures."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.clinic.saved_series import has_looked, note_look
from server.models import Series, SeriesVersion
from server.models.series import EXPLORED, SET_BEFORE_LOOKING
from server.outcomes.series.row import Row
from server.queries.clock import clinic_day, the_clinic
from server.staff.page import words
from server.staff.page.database import reading, writing
from server.staff.page.request_context import request_context, signed_in
from server.staff.series.asked import Asked
from server.staff.series.saved_address import digests_of, options_text, sentence_text
from server.words.phrase import Phrase, phrase

DECLARED: Mapping[str, Phrase] = {
    SET_BEFORE_LOOKING: phrase("set before looking"),
    EXPLORED: phrase("explored"),
}


@dataclass(frozen=True)
class SavedHead:
    """`number` of `versions`. `changed`: the address has other words or choices than that version, which nobody has saved."""

    series_id: int
    name: str
    number: int
    versions: int
    declared: str
    saved_on: date
    note: str
    changed: bool
    withdrawn: bool
    interests: str

    @property
    def declared_words(self) -> str:
        """Words and choices that are not those of the version are explored, whatever the version is."""
        return words.say(DECLARED[EXPLORED if self.changed else self.declared])


def saved_head(session: Session, asked: Asked) -> SavedHead | None:
    """None where the address names no saved series, or one that is not there. Without a version it means the last."""
    series_id, number = (_whole(asked.saved.get(name, "")) for name in ("series", "version"))
    series = session.get(Series, series_id) if series_id else None
    if series is None:
        return None
    versions = session.scalars(select(SeriesVersion).where(SeriesVersion.series_id == series.id)).all()
    by_number = {version.number: version for version in versions}
    version = by_number.get(number or max(by_number))
    if version is None:
        return None
    here = sentence_text(asked.sentence), options_text(asked.chosen)
    return SavedHead(
        series.id,
        series.name,
        version.number,
        len(versions),
        version.declared,
        clinic_day(the_clinic(session), version.saved_at),
        version.note or "",
        changed=here != (version.sentence, version.options),
        withdrawn=series.withdrawn_at is not None,
        interests=series.interests or "",
    )


def declared_line(head: SavedHead | None) -> str:
    """For the foot of what is printed: how the words came to be."""
    if head is None or head.changed:
        return words.gettext("Explored, and not saved.")
    return words.gettext("“%(name)s”, version %(number)s of %(versions)s: %(declared)s, %(day)s.") % {
        "name": head.name, "number": head.number, "versions": head.versions, "declared": head.declared_words,
        "day": words.day(head.saved_on),
    }  # fmt: skip


def note_looked(asked: Asked, *groups: Iterable[Row]) -> None:
    """Whoever is signed in has opened figures of this sentence, and of these groups of it side by side.

    Not within another session; an empty record shows none.
    """
    if not asked.record.rows:
        return
    sentence, by_id = sentence_text(asked.sentence), signed_in().id
    shoulders = digests_of(asked.flow.rows_at("meant"), *groups)
    with reading() as session:
        known = has_looked(session, sentence, shoulders, by_id)
    if not known:
        with writing() as session:
            note_look(session, sentence, shoulders, now=request_context().now, by_id=by_id)


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else 0
