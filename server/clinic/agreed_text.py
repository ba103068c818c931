"""To which text a consent was given: one that the clinic installed, or one on paper whose version is typed.

Rules:

1. IN_FORCE is the version that was in force on the day of the consent, in the patient's language. Where the clinic had none on that day,
   the version is typed.
2. The text that was read can be named instead, in another language or of an older version: its paper may have lain about. It cannot have
   come after that day, nor can a language that was added to its version later.
3. TYPED is a text that is not here, as all were before the first was installed. Only the word of its version is kept.
4. A page sends along which version it offered as the one in force. Where it is another one by now, IN_FORCE is refused and a text is named:
   nobody is taken to have read what came after.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy.orm import Session

from server.fields.check import Calendar, EntryRefused, check_values
from server.fields.field import named
from server.fields.person import CONSENT, CONSENT_KINDS
from server.models import Clinic, ClinicNotice
from server.queries.clinic_notices import NoticeVersion, in_force, in_force_on, notice_versions
from server.queries.clock import clinic_day
from server.words.language import Words
from server.words.phrase import Phrase, phrase

NOTICE = "notice"  # the input of a form in which the text is chosen
IN_FORCE, TYPED = "in_force", "typed"
ENGLISH = Words("staff", "en")
OFFERED = "offered"  # `offered_research` and its like: inputs by which a page tells what it offered


@dataclass(frozen=True)
class AgreedText:
    """`notice_id` is None where the version was typed."""

    version: str
    notice_id: int | None


@dataclass(frozen=True)
class Reading:
    """One consent: to what, on which day, in whose language. `choice`: IN_FORCE, TYPED or the id of a text; `typed`: a version.

    `offered`: of `offered_texts` when the page was shown; None where no page showed one.
    """

    kind: str
    given_on: date
    language: str
    choice: str
    typed: str | None
    offered: str | None = None


def offered_texts(session: Session) -> dict[str, str]:
    """By input of a page, the version in force of each kind of consent, by the id of its first text; empty where there is none."""
    versions = notice_versions(session)
    current = {kind: in_force(versions, kind) for kind in CONSENT_KINDS}
    return {f"{OFFERED}_{kind}": str(found.first.id) if found else "" for kind, found in current.items()}


def agreed_text(session: Session, clinic: Clinic, reading: Reading) -> AgreedText:
    """Raises EntryRefused, with errors about `notice` and `version`."""
    errors = check_values((named(CONSENT, "version"),), {"version": reading.typed}, Calendar(reading.given_on))
    if errors:
        raise EntryRefused(errors)
    versions = notice_versions(session, reading.kind)
    if reading.choice == TYPED:
        return _typed(reading, phrase("Write the version that stands on the form which was signed."))
    if reading.choice == IN_FORCE:
        _ask_if_another_came(reading, versions, clinic)
        return _in_force(reading, versions, clinic)
    return _named(reading, versions, clinic)


def _typed(reading: Reading, otherwise: Phrase) -> AgreedText:
    if not reading.typed:
        raise EntryRefused({"version": [otherwise]})
    return AgreedText(reading.typed, None)


def _ask_if_another_came(reading: Reading, versions: Sequence[NoticeVersion], clinic: Clinic) -> None:
    current = in_force(versions, reading.kind)
    if not versions or reading.offered is None or reading.offered == (str(current.first.id) if current else ""):
        return
    newest = versions[0]
    changed_at = newest.since if newest.until is None else newest.until
    if clinic_day(clinic, changed_at) > reading.given_on:
        return  # of an earlier day the same is in force as before
    said = phrase(
        "Version %(version)s was taken out of force while this page was open. Choose by its version which text was read.",
        version=newest.version,
    )
    if current:
        said = phrase(
            "Version %(version)s came into force while this page was open. Choose by its version which text was read.",
            version=newest.version,
        )
    raise EntryRefused({"notice": [said]})


def _in_force(reading: Reading, versions: Sequence[NoticeVersion], clinic: Clinic) -> AgreedText:
    version = in_force_on(versions, reading.kind, reading.given_on, clinic)
    if version is None:
        return _typed(
            reading,
            phrase(
                "On %(day)s no text of the clinic was in force here. Write the version of the form which was signed, "
                "or choose the text that was read.",
                day=reading.given_on,
            ),
        )
    if reading.typed and reading.typed.casefold() != version.version.casefold():
        said = phrase(
            "On %(day)s version %(version)s was in force. If %(typed)s was signed, say that it is not here; else empty this.",
            day=reading.given_on,
            version=version.version,
            typed=reading.typed,
        )
        raise EntryRefused({"version": [said]})
    text = version.texts.get(reading.language)
    if text is None or clinic_day(clinic, text.made_at) > reading.given_on:
        said = phrase(
            "On %(day)s version %(version)s had no text in the patient's language. Choose the text that was read.",
            day=reading.given_on,
            version=version.version,
        )
        raise EntryRefused({"notice": [said]})
    return AgreedText(version.version, text.id)


def _named(reading: Reading, versions: Sequence[NoticeVersion], clinic: Clinic) -> AgreedText:
    found = [
        (version, text) for version in versions for text in version.texts.values() if str(text.id) == reading.choice
    ]
    if not found:
        said = phrase("Choose a text about what was agreed to; this one is about something else.")
        raise EntryRefused({"notice": [said]})
    [(version, text)] = found
    came = clinic_day(clinic, text.made_at)
    if came > reading.given_on:
        said = phrase(
            "This text of version %(version)s came into force on %(day)s, after the consent. Check the day, or say that "
            "another text was read.",
            version=version.version,
            day=came,
        )
        raise EntryRefused({"notice": [said]})
    if reading.typed and reading.typed.casefold() != version.version.casefold():
        said = phrase(
            "Version %(version)s is chosen as the text that was read. If %(typed)s was signed, say that it is not here; "
            "else empty this.",
            version=version.version,
            typed=reading.typed,
        )
        raise EntryRefused({"version": [said]})
    return AgreedText(version.version, text.id)


def text_in_words(session: Session, notice_id: int | None) -> str:
    """For the history of changes, where a number would tell nothing."""
    if notice_id is None:
        return ""
    text = session.get_one(ClinicNotice, notice_id)
    return f"version {text.version}, {ENGLISH.language_name(text.language)}"
