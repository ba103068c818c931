"""Making staff accounts. Passwords are hashed before the transaction that calls this."""

from datetime import datetime

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from server.installation.runtime import Runtime
from server.models import StaffAccount, StaffSession
from server.models.staff import ROLES
from server.queries.clock import the_clinic
from server.staff.account.passwords import hash_password, password_problem
from server.trust.audit import audit
from server.trust.tries import forgive_all, password_subject
from server.words.catalogue import SOURCE_LANGUAGE
from server.words.language import Words

__all__ = ["AccountProblem", "create_account", "hash_password", "make_account_or_say_why", "password_problem"]


class AccountProblem(ValueError):
    """An account that cannot be made; says why in plain words."""


def create_account(
    session: Session, email: str, name: str, role: str, password_hash: str, now: datetime
) -> StaffAccount:
    """A new account with an id. `password_hash` comes from `hash_password`. Raises AccountProblem."""
    address = email.strip().lower()
    if role not in ROLES:
        raise AccountProblem(f"the role is {role!r}; it must be one of {', '.join(ROLES)}")
    if "@" not in address or not name.strip():
        raise AccountProblem("an account needs an e-mail address and a name")
    if session.scalar(select(StaffAccount.id).where(StaffAccount.email == address)) is not None:
        raise AccountProblem(f"there is already an account for {address}")
    account = StaffAccount(email=address, name=name.strip(), role=role, password_hash=password_hash, made_at=now)
    session.add(account)
    session.flush()
    audit(session, "account:made", f"account {account.id}", now=now, role=role)
    return account


def account_named(session: Session, email: str) -> StaffAccount | None:
    return session.scalar(select(StaffAccount).where(StaffAccount.email == email.strip().lower()))


def reset_account(
    session: Session, account: StaffAccount, name: str, role: str, password_hash: str, now: datetime
) -> None:
    """A new password, name and role for an account that exists. It may sign in again, and its running sessions end."""
    if role not in ROLES or not name.strip():
        raise AccountProblem(f"an account needs a name and one of the roles {', '.join(ROLES)}")
    account.name, account.role, account.password_hash = name.strip(), role, password_hash
    account.disabled_at = None
    forgive_all(session, password_subject(account.email))
    _end_sessions(session, account, now)
    audit(session, "account:set-anew", f"account {account.id}", now=now, role=role)


def shut_account(session: Session, account: StaffAccount, *, now: datetime, by_id: int) -> None:
    """The account may no longer sign in, and whoever is signed in with it is out."""
    account.disabled_at = account.disabled_at or now
    _end_sessions(session, account, now)
    audit(session, "account:shut", f"account {account.id}", now=now, by_id=by_id)


def _end_sessions(session: Session, account: StaffAccount, now: datetime) -> None:
    running = update(StaffSession).where(StaffSession.account_id == account.id, StaffSession.revoked_at.is_(None))
    session.execute(running.values(revoked_at=now))


def make_account_or_say_why(runtime: Runtime, *, email: str, name: str, role: str, password: str) -> str | None:
    """Makes the account, or resets the one of this e-mail. None when it is done, otherwise the reason, in English."""
    with runtime.store.reading() as session:
        clinic_name = the_clinic(session).name
    problem = password_problem(password, own=(email, name, clinic_name))
    if problem:
        return Words("staff", SOURCE_LANGUAGE).say(problem)
    password_hash = hash_password(password)
    now = runtime.now()
    try:
        with runtime.store.writing() as session:
            known = account_named(session, email)
            if known is not None:
                reset_account(session, known, name, role, password_hash, now)
            else:
                create_account(session, email, name, role, password_hash, now)
    except AccountProblem as refused:
        return str(refused)
    return None
