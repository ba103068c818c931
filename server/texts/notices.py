"""Installs a version of the privacy notice or of a consent text: for all of the clinic's languages in one transaction, audited.

Rules:

1. An installed text never changes. A correction is a new version, under a word that no version of this kind had before.
2. A version is entered in every language of the clinic at once, so that nobody reads half of one. A language that the clinic adds later
   can be added to the version in force.
3. A privacy notice is only ever replaced. A consent text may be taken out of force, with a reason.
"""

import re
import unicodedata
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from server.fields.check import in_english
from server.fields.field import Errors
from server.fields.person import NOTICE_KINDS, PRIVACY
from server.models import Clinic, ClinicNotice
from server.queries.clinic_notices import NoticeVersion, in_force, notice_hash, notice_versions
from server.queries.clock import clinic_to_change
from server.queries.current import mark_sheets_stale
from server.trust.audit import audit

LONGEST_VERSION, LONGEST_TITLE, LONGEST_CONTENT, LONGEST_WHY = 20, 120, 20_000, 400
NOT_WORDS = ("Cc", "Cs")  # control characters and halves of signs; marks of direction are words of a text


class NoticeRefused(ValueError):
    """It cannot be installed, and nothing was; `errors` by field: `version`, `why`, `title-es`, `content-es`."""

    def __init__(self, errors: Errors) -> None:
        super().__init__("; ".join(sentence for said in errors.values() for sentence in in_english(said)))
        self.errors = errors


@dataclass(frozen=True)
class Wording:
    """A text as somebody typed it, or as it is installed."""

    title: str
    content: str


def tidy(typed: Wording) -> Wording:
    """One line of title; of the content no blanks at the ends of lines, and one empty line where there were several."""
    lines = typed.content.lstrip("\N{ZERO WIDTH NO-BREAK SPACE}").replace("\t", " ").splitlines()
    content = re.sub(r"\n{3,}", "\n\n", "\n".join(line.rstrip() for line in lines)).strip()
    return Wording(" ".join(typed.title.split()), content)


def languages_of(clinic: Clinic) -> list[str]:
    return clinic.languages.split(",")


def missing_languages(clinic: Clinic, version: NoticeVersion | None) -> list[str]:
    """Languages of the clinic in which this version, or none, has no text."""
    return [each for each in languages_of(clinic) if version is None or each not in version.texts]


def notice_problems(version: str, texts: Mapping[str, Wording], languages: Collection[str]) -> Errors:
    """What is wrong with tidied words by field, whatever is installed; empty when all is well."""
    errors: Errors = {}
    if not version:
        errors["version"] = ["Give the version a word of its own, such as 2 or 2026-11."]
    elif len(version) > LONGEST_VERSION or not version.isprintable():
        errors["version"] = [f"The version's word is one line of at most {LONGEST_VERSION} characters."]
    for language in languages:
        words = texts.get(language, Wording("", ""))
        errors |= _problems(language, words)
    return errors


def _problems(language: str, words: Wording) -> Errors:
    title, content = f"title-{language}", f"content-{language}"
    errors: Errors = {}
    if not words.title:
        errors[title] = ["The title is empty. A version is entered in every language of the clinic at once."]
    elif len(words.title) > LONGEST_TITLE:
        errors[title] = [f"The title has {len(words.title)} characters; at most {LONGEST_TITLE} fit."]
    if not words.content:
        errors[content] = ["The text is empty. A version is entered in every language of the clinic at once."]
    elif len(words.content) > LONGEST_CONTENT:
        errors[content] = [f"The text has {len(words.content)} characters; at most {LONGEST_CONTENT} fit on a phone."]
    for name, text in ((title, words.title), (content, words.content)):
        if any(unicodedata.category(sign) in NOT_WORDS and sign != "\n" for sign in text):
            errors[name] = ["It holds a sign that cannot be shown. Copy the text again, as plain text."]
    return errors


def install_version(
    session: Session,
    kind: str,
    version: str,
    texts: Mapping[str, Wording],
    *,
    replaces: str,
    now: datetime,
    by_id: int | None,
) -> NoticeVersion:
    """The version in force from `now` on. Raises NoticeRefused. The same words under the same version again are already there.

    `replaces`: the version that stood in force when these words were written, empty for none. Due sheets are marked where they tell it.
    """
    clinic = clinic_to_change(session)  # two installations at one time: they queue here
    version = " ".join(version.split())
    tidied = {language: tidy(texts[language]) for language in languages_of(clinic) if language in texts}
    _raise(notice_problems(version, tidied, languages_of(clinic)))
    known = notice_versions(session, kind)
    current = in_force(known, kind)
    if current is not None and _same(current, version, tidied):
        return current
    _refuse_word_in_use(known, version)
    if replaces != (current.version if current else ""):
        raise NoticeRefused({"version": [_meanwhile(current)]})
    _end(session, current, now, by_id)
    rows = _add(session, kind, version, tidied, now, by_id)
    if kind == PRIVACY:
        mark_sheets_stale(session)  # a consent text goes to those who agree to it from now on
    _audit(session, "notice:installed", rows, now, by_id, replaces=replaces or None)
    return NoticeVersion(kind, version, rows)


def add_languages(
    session: Session, kind: str, version: str, texts: Mapping[str, Wording], *, now: datetime, by_id: int | None
) -> NoticeVersion:
    """Texts of the version in force in languages of the clinic that it lacks, all of them. Raises NoticeRefused."""
    clinic = clinic_to_change(session)
    current = in_force(notice_versions(session, kind), kind)
    if current is None or current.version != version:
        raise NoticeRefused({"version": [_meanwhile(current)]})
    missing = missing_languages(clinic, current)
    if not missing:
        return current  # added already
    tidied = {language: tidy(texts[language]) for language in missing if language in texts}
    _raise(notice_problems(version, tidied, missing))
    rows = _add(session, kind, version, tidied, now, by_id)
    if kind == PRIVACY:
        mark_sheets_stale(session)
    _audit(session, "notice:language-added", rows, now, by_id)
    return NoticeVersion(kind, version, {**current.texts, **rows})


def end_version(session: Session, kind: str, version: str, *, why: str, now: datetime, by_id: int | None) -> None:
    """Takes a consent text out of force. Those who agreed to it keep it, to read. Raises NoticeRefused."""
    clinic_to_change(session)
    why = " ".join(why.split())
    current = in_force(notice_versions(session, kind), kind)
    if kind == PRIVACY:
        raise NoticeRefused(
            {"why": ["A privacy notice is replaced by its next version; patients are never without one."]}
        )
    if current is None or current.version != version:
        raise NoticeRefused({"why": [_meanwhile(current)]})
    if not why or len(why) > LONGEST_WHY:
        raise NoticeRefused({"why": [f"Say why, in at most {LONGEST_WHY} characters."]})
    _end(session, current, now, by_id, why)
    _audit(session, "notice:ended", current.texts, now, by_id)


def _same(current: NoticeVersion, version: str, texts: Mapping[str, Wording]) -> bool:
    there = {language: Wording(row.title, row.content) for language, row in current.texts.items()}
    return current.version == version and all(there.get(language) == words for language, words in texts.items())


def _refuse_word_in_use(known: list[NoticeVersion], version: str) -> None:
    used = next((each for each in known if each.version.casefold() == version.casefold()), None)
    if used is not None:
        since = f"Version {used.version} was installed on {used.since:%Y-%m-%d}, and an installed text never changes."
        raise NoticeRefused({"version": [f"{since} Give the new one a word of its own."]})


def _meanwhile(current: NoticeVersion | None) -> str:
    now_there = f"version {current.version} is in force" if current else "none is in force"
    return f"Somebody else changed this meanwhile: {now_there}. Nothing was saved; look at it and enter yours again."


def _end(
    session: Session, current: NoticeVersion | None, now: datetime, by_id: int | None, why: str | None = None
) -> None:
    for row in current.texts.values() if current else ():
        row.replaced_at, row.replaced_by_id, row.ended_why = now, by_id, why
    session.flush()


def _add(
    session: Session, kind: str, version: str, texts: Mapping[str, Wording], now: datetime, by_id: int | None
) -> dict[str, ClinicNotice]:
    if kind not in NOTICE_KINDS:
        raise ValueError(kind)
    rows = {
        language: ClinicNotice(
            kind=kind,
            version=version,
            language=language,
            title=words.title,
            content=words.content,
            sha256=notice_hash(words.title, words.content),
            made_at=now,
            made_by_id=by_id,
        )
        for language, words in texts.items()
    }
    session.add_all(rows.values())
    session.flush()
    return rows


def _audit(
    session: Session,
    action: str,
    rows: Mapping[str, ClinicNotice],
    now: datetime,
    by_id: int | None,
    **more: str | None,
) -> None:
    first = min(rows.values(), key=lambda each: each.id)
    sha256 = {language: row.sha256.hex() for language, row in rows.items()}
    told = {"kind": first.kind, "version": first.version, "sha256": sha256, **more}
    audit(session, action, f"clinic_notice {first.id}", now=now, by_id=by_id, **told)


def _raise(errors: Errors) -> None:
    if errors:
        raise NoticeRefused(errors)
