"""Codes of an authenticator app (TOTP, RFC 6238). Each time step is good once: the library alone would take a code twice."""

import hmac
from datetime import datetime

import pyotp
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import StaffAuthenticatorApp, StaffSession
from server.staff.page.sessions import ANSWERED_WITHIN, SignedIn, locked_session

STEPS_AROUND = (0, -1, 1)  # a phone's clock may be half a minute off


class NotOffered(Exception):
    """No app is being set up in this session, or none any more."""


def offered_secret(session: Session, who: SignedIn, *, now: datetime) -> str:
    """The secret of an app that is being set up. The same for some minutes, so that a page shown again fits the app."""
    row = locked_session(session, who)
    secret = _fresh_secret(row, now) or pyotp.random_base32()
    row.new_secret, row.challenge, row.asked_at = secret, None, now
    return secret


def _fresh_secret(row: StaffSession, now: datetime) -> str | None:
    return row.new_secret if row.asked_at is not None and now - row.asked_at < ANSWERED_WITHIN else None


def address_for_app(secret: str, *, email: str, clinic_name: str) -> str:
    """The otpauth address that an app reads from the QR code; a colon would end the name."""
    return pyotp.TOTP(secret).provisioning_uri(name=email, issuer_name=clinic_name.replace(":", " "))


def add_authenticator_app(
    session: Session, who: SignedIn, code: str, *, name: str, now: datetime
) -> StaffAuthenticatorApp | None:
    """The new app, or None when the code is not one that it shows now. Raises NotOffered."""
    row = locked_session(session, who)
    secret = _fresh_secret(row, now)
    if secret is None:
        raise NotOffered
    step = _step_of(secret, code, now)
    if step is None:
        return None
    app = StaffAuthenticatorApp(account_id=who.id, name=name, secret=secret, last_step=step, made_at=now)
    session.add(app)
    session.flush()
    row.new_secret = None
    return app


def app_code_is_right(session: Session, who: SignedIn, code: str, *, now: datetime) -> bool:
    """Whether one of the account's apps shows this code now and neither it nor a later one was used before."""
    apps = select(StaffAuthenticatorApp).where(StaffAuthenticatorApp.account_id == who.id)
    for app in session.scalars(apps.order_by(StaffAuthenticatorApp.id).with_for_update()):
        step = _step_of(app.secret, code, now)
        if step is not None and step > app.last_step:
            app.last_step, app.last_used_at = step, now
            return True
    return False


def _step_of(secret: str, code: str, now: datetime) -> int | None:
    """The time step whose code this is, of those around now."""
    totp = pyotp.TOTP(secret)
    present = totp.timecode(now)
    typed = "".join(code.split()).encode("utf-8")
    for around in STEPS_AROUND:
        if hmac.compare_digest(totp.generate_otp(present + around).encode("ascii"), typed):
            return present + around
    return None
