"""Installs a checked text: locked from then on, one transaction, audited.

Rules:

1. An installed text never changes. The same bytes again are already installed.
2. Of one instrument version and language one text is in force. Another is refused unless it has a translation version of its own and
   names the text that it replaces from now on; the older one stays, named by the responses that were asked in it.
3. A text that was replaced does not come back, and its id is never used for other words.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import InstalledText
from server.queries.clock import clinic_to_change
from server.queries.current import mark_sheets_stale
from server.texts.check import CheckedText
from server.trust.audit import audit

LONGEST = {"owner": 200, "licence_reference": 200, "translation_version": 40}
EARLIEST_YEAR = 1950


class LicenceProblem(ValueError):
    """What was typed about the licence cannot stand; `errors` by field."""

    def __init__(self, errors: dict[str, list[str]]) -> None:
        super().__init__("; ".join(f"{field}: {' '.join(said)}" for field, said in errors.items()))
        self.errors = errors


class InstallRefused(ValueError):
    """The text fits, but cannot be installed; the message says what there is and what to do."""


@dataclass(frozen=True)
class Licence:
    owner: str
    licence_reference: str
    translation_version: str
    dated_on: date


@dataclass(frozen=True)
class Installation:
    """`already`: these bytes were installed before, and nothing was done. `replaced`: the id of the text that is no longer in force."""

    text_id: str
    already: bool
    replaced: str | None


def read_licence(typed: Mapping[str, str], *, today: date) -> Licence:
    """From fields as a person typed them. Raises LicenceProblem with every error."""
    texts = {name: " ".join(typed.get(name, "").split()) for name in LONGEST}
    errors: dict[str, list[str]] = {}
    for name, longest in LONGEST.items():
        if not texts[name]:
            errors[name] = ["is empty"]
        elif len(texts[name]) > longest:
            errors[name] = [f"is longer than {longest} characters"]
        elif not texts[name].isprintable():
            errors[name] = ["holds a sign that cannot be printed"]
    dated_on = _day(typed.get("dated_on", ""))
    if dated_on is None or dated_on.year < EARLIEST_YEAR or dated_on > today:
        errors["dated_on"] = [f"must be a day as year-month-day, from {EARLIEST_YEAR} to today ({today})"]
    if errors or dated_on is None:
        raise LicenceProblem(errors)
    return Licence(**texts, dated_on=dated_on)


def _day(typed: str) -> date | None:
    try:
        return date.fromisoformat(typed.strip())
    except ValueError:
        return None


def in_force(session: Session, spec: str, language: str) -> InstalledText | None:
    """The licensed text of this instrument version and language that is asked in now."""
    return next((each for each in _all(session, spec, language) if each.replaced_at is None), None)


def install_text(
    session: Session, text: CheckedText, licence: Licence, *, replaces: str = "", now: datetime, by_id: int | None
) -> Installation:
    """Raises InstallRefused. `replaces`: the id of the text in force that this one replaces, empty where there is none.

    The due sheets of all patients are marked, so that phones get the new words with the next fetch; a form that was begun in the
    older words goes on in them.
    """
    # Two installations at one time: they queue here.
    clinic_to_change(session)
    same = session.scalars(select(InstalledText).where(InstalledText.sha256 == text.sha256)).first()
    if same is not None and same.replaced_at is None:
        return Installation(same.text_id, True, None)
    _refuse_id_in_use(session, text, same)
    older = _all(session, text.definition.spec, text.language)
    current = next((each for each in older if each.replaced_at is None), None)
    _refuse_replacement(text, licence, older, current, replaces)
    if current is not None:
        current.replaced_at = now
        session.flush()
    session.add(_row(text, licence, now))
    mark_sheets_stale(session)
    said = {"sha256": text.sha256.hex(), **{name: str(value) for name, value in vars(licence).items()}}
    audit(session, "text:installed", f"text {text.text_id}", now=now, by_id=by_id, replaces=replaces or None, **said)
    session.flush()
    return Installation(text.text_id, False, current.text_id if current is not None else None)


def _all(session: Session, spec: str, language: str) -> list[InstalledText]:
    name, _, version = spec.partition("@")
    wanted = select(InstalledText).where(
        InstalledText.instrument == name,
        InstalledText.instrument_version == version,
        InstalledText.language == language,
    )
    return list(session.scalars(wanted.order_by(InstalledText.installed_at)))


def _refuse_id_in_use(session: Session, text: CheckedText, same: InstalledText | None) -> None:
    if same is not None:
        raise InstallRefused(
            f"these words were installed as {same.text_id} and replaced on {same.replaced_at:%Y-%m-%d}; a text that was replaced "
            "does not come back. Give the file a text_id and a translation version of its own"
        )
    used = session.get(InstalledText, text.text_id)
    if used is not None:
        raise InstallRefused(
            f"{text.text_id} was installed on {used.installed_at:%Y-%m-%d} with other words, and an installed text never changes. "
            "Give the new file a text_id of its own"
        )


def _refuse_replacement(
    text: CheckedText, licence: Licence, older: list[InstalledText], current: InstalledText | None, replaces: str
) -> None:
    spec, language = text.definition.spec, text.language
    if current is None and replaces:
        raise InstallRefused(
            f"there is no text of {spec} in {language} in force that {replaces} could be; leave it out"
        )
    version = licence.translation_version.casefold()
    taken = next((each for each in older if each.translation_version.casefold() == version), None)
    if taken is not None:
        raise InstallRefused(
            f"{taken.text_id} already is translation version {taken.translation_version} of {spec} in {language}; only a new "
            "translation version can replace it"
        )
    if current is not None and replaces != current.text_id:
        raise InstallRefused(
            f"{spec} in {language} has the licensed text {current.text_id} ({current.translation_version}, dated "
            f"{current.dated_on}). If the new one replaces it from now on, say that it replaces {current.text_id}"
        )


def _row(text: CheckedText, licence: Licence, now: datetime) -> InstalledText:
    return InstalledText(
        text_id=text.text_id,
        instrument=text.definition.id,
        instrument_version=text.definition.version,
        language=text.language,
        sha256=text.sha256,
        content=text.content,
        installed_at=now,
        **vars(licence),
    )
