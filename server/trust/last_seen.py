"""When each member of staff was last there. Sessions that are over are forgotten; when they were last seen is kept with the account."""

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import ColumnElement, delete, func, select
from sqlalchemy.orm import Session

from server.models import StaffAccount, StaffSession
from server.models.staff import IN


def last_seen(session: Session, account_ids: Collection[int]) -> dict[int, datetime]:
    """By account; nobody who never came further than the password."""
    kept = select(StaffAccount.id, StaffAccount.last_seen_at).where(
        StaffAccount.id.in_(account_ids), StaffAccount.last_seen_at.is_not(None)
    )
    seen = _seen_in_sessions(session, StaffSession.account_id.in_(account_ids))
    for account_id, at in session.execute(kept):
        if at is not None:
            seen[account_id] = max(at, seen.get(account_id, at))
    return seen


def forget_sessions(session: Session, *, now: datetime) -> int:
    """Deletes the sessions that are over; returns how many."""
    over = StaffSession.expires_at <= now
    seen = _seen_in_sessions(session, over)
    # Locked in the order that pages use: several accounts in another order could wait for each other.
    accounts = select(StaffAccount).where(StaffAccount.id.in_(seen)).order_by(StaffAccount.id)
    for account in session.scalars(accounts.with_for_update(key_share=True)):
        account.last_seen_at = max(seen[account.id], account.last_seen_at or seen[account.id])
    return len(session.scalars(delete(StaffSession).where(over).returning(StaffSession.id)).all())


def _seen_in_sessions(session: Session, which: ColumnElement[bool]) -> dict[int, datetime]:
    found = (
        select(StaffSession.account_id, func.max(StaffSession.last_seen_at))
        .where(which, StaffSession.stage == IN)
        .group_by(StaffSession.account_id)
    )
    return {account_id: at for account_id, at in session.execute(found) if at is not None}
