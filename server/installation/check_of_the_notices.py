"""Whether patients can read the clinic's privacy notice, and what they agree to, in each of its languages."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.fields.person import CONSENT_KINDS, PRIVACY
from server.installation.finding import Finding, Look
from server.models import Consent
from server.queries.clinic_notices import in_force, is_altered, notice_versions
from server.texts.notices import languages_of
from server.words import labels
from server.words.phrase import LanguageName, phrase

ALWAYS_ASKED = "contact"  # without it no message goes out


def privacy_notice_is_there(look: Look) -> Finding:
    """In each language of a live clinic; a demo needs none."""
    missing = _missing(look, PRIVACY)
    if missing and look.clinic.mode != "live":
        return Finding("privacy_notice", phrase("A demo needs no privacy notice."))
    if not missing:
        return Finding("privacy_notice", phrase("The privacy notice is in force in every language of the clinic."))
    return Finding(
        "privacy_notice",
        phrase("There is no privacy notice in %(languages)s, so phones show none.", languages=missing),
        phrase("Open Texts, then Privacy notice and consent texts, and enter it in every language."),
    )


def consent_texts_are_there(look: Look) -> Finding:
    """Of the consent to contact, and of every other that stands with somebody."""
    asked = {ALWAYS_ASKED, *_recorded(look.session)}
    without = [kind for kind in CONSENT_KINDS if kind in asked and _missing(look, kind)]
    if without and look.clinic.mode != "live":
        return Finding("consent_texts", phrase("A demo needs no texts of consents."))
    if not without:
        return Finding("consent_texts", phrase("Every consent that is asked for has its text."))
    named = tuple(labels.NOTICE[kind] for kind in without)
    return Finding(
        "consent_texts",
        phrase("Consents are asked for without a text that says to what: %(kinds)s.", kinds=named),
        phrase("Open Texts, then Privacy notice and consent texts, and enter the texts that patients sign."),
    )


def _missing(look: Look, kind: str) -> tuple[LanguageName, ...]:
    """Languages of the clinic in which no text of this kind can be read."""
    current = in_force(notice_versions(look.session, kind), kind)
    sound = {code for code, text in current.texts.items() if not is_altered(text)} if current else set()
    return tuple(LanguageName(code) for code in languages_of(look.clinic) if code not in sound)


def _recorded(session: Session) -> list[str]:
    standing = Consent.withdrawn_on.is_(None), Consent.set_aside_at.is_(None)
    return list(session.scalars(select(Consent.kind).where(*standing).distinct()))
