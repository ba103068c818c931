"""What a data manager sees of accounts: who there is, who can sign in, who is paused, who is signed in now."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select, union
from sqlalchemy.orm import Session

from server.models import StaffAccount, StaffAuthenticatorApp, StaffInvitation, StaffPasskey, StaffSession
from server.staff.page.sessions import IDLE
from server.trust.last_seen import last_seen
from server.trust.tries import password_subject, pauses, second_step_subject


@dataclass(frozen=True)
class AccountRow:
    """One account. `invited_until`: an invitation waits for the person. `paused`: somewhere wrong tries keep people waiting."""

    id: int
    name: str
    email: str
    role: str
    has_password: bool
    has_second_step: bool
    invited_until: datetime | None
    seen_at: datetime | None
    paused: bool
    shut_at: datetime | None


def count_accounts(session: Session) -> int:
    return session.scalar(select(func.count(StaffAccount.id))) or 0


def account_rows(session: Session, *, real_now: datetime, offset: int, limit: int) -> list[AccountRow]:
    """One page of all accounts by name, those that are shut last."""
    shut_last = StaffAccount.disabled_at.is_not(None)
    wanted = select(StaffAccount).order_by(shut_last, func.lower(StaffAccount.name), StaffAccount.id)
    return _rows(session, list(session.scalars(wanted.offset(offset).limit(limit))), real_now)


def account_row(session: Session, account_id: int, *, real_now: datetime) -> AccountRow | None:
    account = session.get(StaffAccount, account_id)
    return _rows(session, [account], real_now)[0] if account else None


def _rows(session: Session, accounts: list[StaffAccount], real_now: datetime) -> list[AccountRow]:
    ids = [each.id for each in accounts]
    subjects = [subject for each in accounts for subject in _subjects(each)]
    paused = pauses(session, subjects, now=real_now)
    seen, stepped = last_seen(session, ids), _with_second_step(session)
    invitations = select(StaffInvitation.account_id, StaffInvitation.ends_at).where(StaffInvitation.ends_at > real_now)
    invited = {row.account_id: row.ends_at for row in session.execute(invitations)}
    return [
        AccountRow(
            each.id,
            each.name,
            each.email,
            each.role,
            each.password_hash is not None,
            each.id in stepped,
            invited.get(each.id),
            seen.get(each.id),
            any(subject in paused for subject in _subjects(each)),
            each.disabled_at,
        )
        for each in accounts
    ]


def _subjects(account: StaffAccount) -> tuple[str, str]:
    return password_subject(account.email), second_step_subject(account.id)


def _with_second_step(session: Session) -> set[int]:
    return set(session.scalars(union(select(StaffPasskey.account_id), select(StaffAuthenticatorApp.account_id))))


def running_sessions(session: Session, account_id: int, *, real_now: datetime) -> list[StaffSession]:
    """The one seen last first."""
    wanted = select(StaffSession).where(
        StaffSession.account_id == account_id,
        StaffSession.revoked_at.is_(None),
        StaffSession.expires_at > real_now,
        StaffSession.last_seen_at > real_now - IDLE,
    )
    return list(session.scalars(wanted.order_by(StaffSession.last_seen_at.desc(), StaffSession.id.desc())))
