"""Passkeys (WebAuthn): what a browser is asked, and whether what it answers is right. The checks are the library's."""

import json
import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar
from urllib.parse import urlsplit

import webauthn
from sqlalchemy import select
from sqlalchemy.orm import Session
from webauthn.helpers import base64url_to_bytes
from webauthn.helpers.exceptions import WebAuthnException
from webauthn.helpers.structs import (
    AuthenticatorSelectionCriteria,
    PublicKeyCredentialDescriptor,
    ResidentKeyRequirement,
    UserVerificationRequirement,
)

from server.models import StaffPasskey
from server.staff.page.sessions import ANSWERED_WITHIN, SignedIn, locked_session

log = logging.getLogger(__name__)
Verified = TypeVar("Verified")


@dataclass(frozen=True)
class RelyingParty:
    """Whom a passkey is for. It works on this host alone, so a page that only looks like ours cannot ask for it."""

    host: str
    origin: str
    name: str


def relying_party(base_url: str, clinic_name: str) -> RelyingParty:
    """By the address of the clinic's settings: a passkey is lost when the clinic moves to another host."""
    parts = urlsplit(base_url)
    return RelyingParty(parts.hostname or "", f"{parts.scheme}://{parts.netloc}", clinic_name)


def creation_options(session: Session, who: SignedIn, party: RelyingParty, *, now: datetime) -> str:
    """What the browser is asked to make, as JSON. A device that is enrolled already is not asked twice."""
    options = webauthn.generate_registration_options(
        rp_id=party.host,
        rp_name=party.name,
        user_id=f"staff {who.id}".encode(),
        user_name=who.email,
        user_display_name=who.name,
        exclude_credentials=_descriptors(session, who.id),
        authenticator_selection=AuthenticatorSelectionCriteria(
            resident_key=ResidentKeyRequirement.PREFERRED, user_verification=UserVerificationRequirement.PREFERRED
        ),
    )
    _keep_challenge(session, who, options.challenge, now)
    return webauthn.options_to_json(options)


def add_passkey(
    session: Session, who: SignedIn, party: RelyingParty, answer: str, *, name: str, now: datetime
) -> StaffPasskey | None:
    """The new passkey, or None when the answer does not fit what this session asked last."""
    challenge, credential = _take_challenge(session, who, now), _read(answer)
    if challenge is None or credential is None:
        return None
    made = _checked(
        lambda: webauthn.verify_registration_response(
            credential=credential,
            expected_challenge=challenge,
            expected_rp_id=party.host,
            expected_origin=party.origin,
        )
    )
    if made is None:
        return None
    if session.scalar(select(StaffPasskey.id).where(StaffPasskey.credential_id == made.credential_id)) is not None:
        return None
    passkey = StaffPasskey(
        account_id=who.id,
        name=name,
        credential_id=made.credential_id,
        public_key=made.credential_public_key,
        sign_count=made.sign_count,
        made_at=now,
    )
    session.add(passkey)
    session.flush()
    return passkey


def request_options(session: Session, who: SignedIn, party: RelyingParty, *, now: datetime) -> str | None:
    """What the browser is asked to sign, as JSON; None for an account without a passkey."""
    known = _descriptors(session, who.id)
    if not known:
        return None
    options = webauthn.generate_authentication_options(
        rp_id=party.host, allow_credentials=known, user_verification=UserVerificationRequirement.PREFERRED
    )
    _keep_challenge(session, who, options.challenge, now)
    return webauthn.options_to_json(options)


def passkey_is_right(session: Session, who: SignedIn, party: RelyingParty, answer: str, *, now: datetime) -> bool:
    """Whether a passkey of this account signed what this session asked last. Each question is asked once."""
    challenge, credential = _take_challenge(session, who, now), _read(answer)
    if challenge is None or credential is None:
        return False
    passkey = session.scalar(
        select(StaffPasskey)
        .where(StaffPasskey.account_id == who.id, StaffPasskey.credential_id == _raw_id(credential))
        .with_for_update()
    )
    if passkey is None:
        return False
    done = _checked(
        lambda: webauthn.verify_authentication_response(
            credential=credential,
            expected_challenge=challenge,
            expected_rp_id=party.host,
            expected_origin=party.origin,
            credential_public_key=passkey.public_key,
            credential_current_sign_count=passkey.sign_count,
        )
    )
    if done is None:
        return False
    passkey.sign_count, passkey.last_used_at = done.new_sign_count, now
    return True


def _checked(verify: Callable[[], Verified]) -> Verified | None:
    """None when the answer is not valid.

    Of an answer that no browser makes the library lets out whatever its parts raise: KeyError, TypeError, AttributeError and more.
    A fault of ours would look the same, so the log has it.
    """
    try:
        return verify()
    except WebAuthnException:
        return None
    except Exception as problem:
        log.warning("what came as a passkey could not be read: %s", type(problem).__name__)
        return None


def _descriptors(session: Session, account_id: int) -> list[PublicKeyCredentialDescriptor]:
    known = session.scalars(select(StaffPasskey.credential_id).where(StaffPasskey.account_id == account_id))
    return [PublicKeyCredentialDescriptor(id=each) for each in known]


def _keep_challenge(session: Session, who: SignedIn, challenge: bytes, now: datetime) -> None:
    """A session asks for one thing at a time: what an earlier page offered is taken back."""
    row = locked_session(session, who)
    row.challenge, row.new_secret, row.asked_at = challenge, None, now


def _take_challenge(session: Session, who: SignedIn, now: datetime) -> bytes | None:
    row = locked_session(session, who)
    challenge, row.challenge = row.challenge, None
    return challenge if row.asked_at is not None and now - row.asked_at < ANSWERED_WITHIN else None


def _read(answer: str) -> dict[str, Any] | None:
    try:
        read = json.loads(answer)
    except ValueError:
        return None
    return read if isinstance(read, dict) and isinstance(read.get("rawId"), str) else None


def _raw_id(credential: dict[str, Any]) -> bytes:
    try:
        return base64url_to_bytes(credential["rawId"])
    except ValueError:
        return b""
