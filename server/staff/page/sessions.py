"""Staying signed in. Sessions run on the machine's clock, never on a demo's.

The cookie holds 256 random bits and the database their hash, so that a copied database signs nobody in.
"""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from server.models import StaffAccount, StaffSession
from server.models.staff import IN, SECOND_STEP

FOR_SECOND_STEP = timedelta(minutes=10)
IDLE = timedelta(minutes=60)
LONGEST = timedelta(hours=12)
ANSWERED_WITHIN = timedelta(minutes=10)  # what a page asked for a new second factor; longer, and it is asked anew
SEEN_EVERY = timedelta(minutes=1)  # how exactly `last_seen_at` is kept: a page is not a write


class SessionEnded(Exception):
    """This session was ended while one of its requests was being answered."""


@dataclass(frozen=True)
class SignedIn:
    """The signed-in member of staff, for the length of a request."""

    id: int
    name: str
    email: str
    role: str
    session_id: int
    form_secret: str
    seen_at: datetime
    language: str | None  # None: the clinic's own
    stage: str  # one of server.models.staff.STAGES


def secret_hash(secret: str) -> bytes:
    return hashlib.sha256(secret.encode("utf-8")).digest()


def start_session(session: Session, account: StaffAccount, *, now: datetime, stage: str = IN) -> str:
    """A new session; returns the secret for the cookie, which is stored nowhere."""
    secret = secrets.token_urlsafe(32)
    session.add(
        StaffSession(
            secret_hash=secret_hash(secret),
            account_id=account.id,
            form_secret=secrets.token_urlsafe(32),
            made_at=now,
            last_seen_at=now,
            expires_at=now + (FOR_SECOND_STEP if stage == SECOND_STEP else LONGEST),
            stage=stage,
        )
    )
    return secret


def find_session(session: Session, secret: str, *, now: datetime) -> SignedIn | None:
    """Who this cookie is; None when it is unknown, idle for too long, over, revoked, or its account is closed."""
    found = session.execute(
        select(StaffSession, StaffAccount)
        .join(StaffAccount, StaffAccount.id == StaffSession.account_id)
        .where(StaffSession.secret_hash == secret_hash(secret), StaffSession.revoked_at.is_(None))
        .where(
            StaffSession.expires_at > now, StaffSession.last_seen_at > now - IDLE, StaffAccount.disabled_at.is_(None)
        )
    ).one_or_none()
    if found is None:
        return None
    here, account = found
    return SignedIn(
        account.id,
        account.name,
        account.email,
        account.role,
        here.id,
        here.form_secret,
        here.last_seen_at,
        account.language,
        here.stage,
    )


def locked_session(session: Session, who: SignedIn) -> StaffSession:
    """The row, locked until the transaction ends. Raises SessionEnded: whoever sets an account anew or shuts it ends its sessions,
    and what a request began before that must not be finished after it."""
    row = session.get_one(StaffSession, who.session_id, with_for_update=True)
    if row.revoked_at is not None:
        raise SessionEnded
    return row


def mark_seen(session: Session, who: SignedIn, *, now: datetime) -> None:
    session.execute(update(StaffSession).where(StaffSession.id == who.session_id).values(last_seen_at=now))


def revoke_session(session: Session, session_id: int, *, now: datetime) -> None:
    session.execute(update(StaffSession).where(StaffSession.id == session_id).values(revoked_at=now))


def revoke_all(session: Session, account_id: int, *, now: datetime, keep: int | None = None) -> int:
    """Ends the running sessions of an account, all but `keep`; returns how many there were."""
    wanted = select(StaffSession.id).where(
        StaffSession.account_id == account_id, StaffSession.revoked_at.is_(None), StaffSession.expires_at > now
    )
    found = [each for each in session.scalars(wanted) if each != keep]
    session.execute(update(StaffSession).where(StaffSession.id.in_(found)).values(revoked_at=now))
    return len(found)
