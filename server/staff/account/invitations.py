"""Invitations: a link with which a person chooses the password of an account, once and within three days.

Of the link only a hash is kept. It is sent nowhere by itself: whoever makes it sees it once and hands it over.
"""

import secrets
from datetime import datetime, timedelta

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.models import StaffAccount, StaffInvitation
from server.staff.page.sessions import revoke_all, secret_hash
from server.trust.audit import audit
from server.trust.tries import forgive_all, password_subject

GOOD_FOR = timedelta(hours=72)


def invite(session: Session, account: StaffAccount, *, now: datetime, real_now: datetime, by_id: int) -> str:
    """A new invitation in place of any older one; returns its secret, which is stored nowhere. The account is locked by the caller."""
    secret = secrets.token_urlsafe(32)
    withdraw_invitation(session, account.id)
    session.add(
        StaffInvitation(
            account_id=account.id, secret_hash=secret_hash(secret), made_at=real_now, ends_at=real_now + GOOD_FOR
        )
    )
    audit(session, "account:invited", f"account {account.id}", now=now, by_id=by_id)
    return secret


def withdraw_invitation(session: Session, account_id: int) -> None:
    session.execute(delete(StaffInvitation).where(StaffInvitation.account_id == account_id))


def invited_account(session: Session, secret: str, *, real_now: datetime) -> StaffAccount | None:
    """Whom this invitation is for. None for one that is unknown, used, replaced or over, and for an account that is shut: nobody
    learns which of them it is."""
    return session.scalar(
        select(StaffAccount)
        .join(StaffInvitation, StaffInvitation.account_id == StaffAccount.id)
        .where(StaffInvitation.secret_hash == secret_hash(secret), StaffInvitation.ends_at > real_now)
        .where(StaffAccount.disabled_at.is_(None))
    )


def use_invitation(
    session: Session, secret: str, password_hash: str, *, now: datetime, real_now: datetime
) -> StaffAccount | None:
    """The account with its new password; None if the invitation is not good any more. Its sessions end, and the link with them."""
    found = invited_account(session, secret, real_now=real_now)
    if found is None:
        return None
    # Locked, then looked at again: of two who send the same link at one moment one finds it used.
    session.get_one(StaffAccount, found.id, with_for_update={"key_share": True})
    account = invited_account(session, secret, real_now=real_now)
    if account is None:
        return None
    account.password_hash = password_hash
    withdraw_invitation(session, account.id)
    forgive_all(session, password_subject(account.email))
    revoke_all(session, account.id, now=real_now)
    audit(session, "account:invitation-used", f"account {account.id}", now=now, by_id=account.id)
    return account


def invited_until(session: Session, account_id: int, *, real_now: datetime) -> datetime | None:
    """When the invitation that waits for this person ends."""
    good = StaffInvitation.account_id == account_id, StaffInvitation.ends_at > real_now
    return session.scalar(select(StaffInvitation.ends_at).where(*good))
