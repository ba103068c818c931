"""Series saved by name: every version stays as it was saved. Who opened figures of which sentence first, and what may be declared.

The rule for *set before looking*, which the program itself can hold: nobody at this clinic has opened a figure of these words, whatever was
chosen at the figures, nor of the same shoulders under other words or as a group of others, nor of an earlier version of the same series.
What somebody has seen elsewhere, in a file or a talk, it cannot know; that is declared by whoever saves. What was opened once stays opened.
"""

import hashlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.clinic.history import change_row
from server.models import Series, SeriesLook, SeriesVersion, ShouldersLook
from server.models.series import SET_BEFORE_LOOKING
from server.trust.audit import audit
from server.words.phrase import Phrase, phrase


class SeriesRefused(ValueError):
    """Nothing is saved. `about`: the field of the form that it concerns."""

    def __init__(self, about: str, why: Phrase) -> None:
        super().__init__(why.text)
        self.about = about
        self.why = why


@dataclass(frozen=True)
class ToSave:
    """`sentence` and `options`: the arguments of an address, as text. `number`: the version that the page offered to save.

    `shoulders`: the digests of those whom the sentence means, and the earlier versions of the series.
    """

    number: int
    sentence: str
    options: str
    declared: str
    note: str | None = None
    shoulders: Collection[bytes] = ()


@dataclass(frozen=True)
class FirstLook:
    """`same_words`: at figures of the words themselves; else at figures of the same shoulders, which other words meant."""

    at: datetime
    by_id: int
    same_words: bool = True


def note_look(session: Session, sentence: str, shoulders: Collection[bytes], *, now: datetime, by_id: int) -> None:
    """Somebody opens figures of this sentence, and so of these shoulders. Only their first time is kept."""
    if session.get(SeriesLook, (_digest(sentence), by_id)) is None:
        session.add(SeriesLook(sentence_sha256=_digest(sentence), by_id=by_id, at=now))
    for digest in set(shoulders):
        if session.get(ShouldersLook, (digest, by_id)) is None:
            session.add(ShouldersLook(shoulders_sha256=digest, by_id=by_id, at=now))


def has_looked(session: Session, sentence: str, shoulders: Collection[bytes], by_id: int) -> bool:
    seen = [session.get(ShouldersLook, (digest, by_id)) is not None for digest in shoulders]
    return all(seen) and session.get(SeriesLook, (_digest(sentence), by_id)) is not None


def first_look(
    session: Session, sentence: str, shoulders: Collection[bytes], series: Series | None = None
) -> FirstLook | None:
    """When figures of these words or shoulders, or of an earlier version of the series, were first opened; None while nobody did."""
    sentences = {sentence}
    if series is not None:
        sentences |= set(session.scalars(select(SeriesVersion.sentence).where(SeriesVersion.series_id == series.id)))
    looks = select(SeriesLook).where(SeriesLook.sentence_sha256.in_([_digest(each) for each in sentences]))
    found = session.scalars(looks.order_by(SeriesLook.at, SeriesLook.by_id)).first()
    if found is not None:
        return FirstLook(found.at, found.by_id)
    same = select(ShouldersLook).where(ShouldersLook.shoulders_sha256.in_(shoulders))
    seen = session.scalars(same.order_by(ShouldersLook.at, ShouldersLook.by_id)).first()
    return FirstLook(seen.at, seen.by_id, same_words=False) if seen is not None else None


def other_sentences(session: Session, sentence: str) -> int:
    """How many other sentences have had their figures opened here, by anybody."""
    looked = select(func.count(SeriesLook.sentence_sha256.distinct()))
    return session.scalar(looked.where(SeriesLook.sentence_sha256 != _digest(sentence))) or 0


def save_series(
    session: Session, name: str, version: ToSave, *, now: datetime, by_id: int
) -> tuple[Series, SeriesVersion]:
    """A new series with its first version. Raises SeriesRefused."""
    _refuse_taken(session, name, None)
    series = Series(name=name)
    session.add(series)
    session.flush()
    audit(session, "series:saved", f"series {series.id}", now=now, by_id=by_id)
    return series, save_version(session, series, version, now=now, by_id=by_id)


def save_version(session: Session, series: Series, version: ToSave, *, now: datetime, by_id: int) -> SeriesVersion:
    """The next version, if it still is the one that was offered. Raises SeriesRefused."""
    last = last_version(session, series)
    number = last.number + 1 if last is not None else 1
    if series.withdrawn_at is not None:
        raise SeriesRefused(
            "", phrase("This series was withdrawn. Bring it back first, or save these words under a new name.")
        )
    if version.number != number:
        meant = phrase(
            "Version %(number)s was saved by somebody else meanwhile. It stands above; look at it, then save yours as the next.",
            number=version.number,
        )
        raise SeriesRefused("", meant)
    if last is not None and (last.sentence, last.options) == (version.sentence, version.options):
        raise SeriesRefused(
            "", phrase("Version %(number)s has these very words and choices already.", number=last.number)
        )
    if version.declared == SET_BEFORE_LOOKING:
        _refuse_looked(first_look(session, version.sentence, version.shoulders, series))
    row = SeriesVersion(
        series_id=series.id, number=number, sentence=version.sentence, options=version.options, declared=version.declared,
        sentences_before=other_sentences(session, version.sentence), note=version.note, saved_at=now, saved_by_id=by_id,
    )  # fmt: skip
    session.add(row)
    session.flush()
    detail: Mapping[str, Any] = {"number": number, "declared": version.declared}
    audit(session, "series:version_saved", f"series {series.id}", now=now, by_id=by_id, **detail)
    return row


def last_version(session: Session, series: Series) -> SeriesVersion | None:
    of_series = select(SeriesVersion).where(SeriesVersion.series_id == series.id)
    return session.scalars(of_series.order_by(SeriesVersion.number.desc()).limit(1)).first()


def correct_series(session: Session, series: Series, values: Mapping[str, Any], *, now: datetime, by_id: int) -> None:
    """Its name, and what its authors declare. Raises SeriesRefused for a name that another one has."""
    _refuse_taken(session, values["name"], series.id)
    if changed := change_row(session, series, values, now=now, by_id=by_id):
        audit(session, "series:corrected", f"series {series.id}", now=now, by_id=by_id, fields=changed)


def withdraw_series(session: Session, series: Series, *, why: str, now: datetime, by_id: int) -> None:
    """It stays, marked. Safe to repeat."""
    if series.withdrawn_at is None:
        change_row(session, series, {"withdrawn_at": now}, now=now, by_id=by_id, why=why)
        audit(session, "series:withdrawn", f"series {series.id}", now=now, by_id=by_id)


def bring_back_series(session: Session, series: Series, *, why: str, now: datetime, by_id: int) -> None:
    """As it was before it was withdrawn. Safe to repeat."""
    if series.withdrawn_at is not None:
        _refuse_taken(session, series.name, series.id)
        change_row(session, series, {"withdrawn_at": None}, now=now, by_id=by_id, why=why)
        audit(session, "series:brought_back", f"series {series.id}", now=now, by_id=by_id)


def _refuse_taken(session: Session, name: str, but: int | None) -> None:
    """Among those in use a name means one series; case does not tell two apart."""
    used = session.execute(select(Series.id, Series.name).where(Series.withdrawn_at.is_(None)))
    if any(row.name.casefold() == name.casefold() and row.id != but for row in used):
        raise SeriesRefused("name", phrase("Another series has this name."))


def _refuse_looked(look: FirstLook | None) -> None:
    if look is None:
        return
    if look.same_words:
        why = phrase("Figures of these words, or of an earlier version, have been opened: it is explored.")
    else:
        why = phrase("Figures of the same shoulders have been opened under other words: it is explored.")
    raise SeriesRefused("declared", why)


def _digest(sentence: str) -> bytes:
    return hashlib.sha256(sentence.encode()).digest()
