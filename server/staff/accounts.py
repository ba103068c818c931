"""Making staff accounts. Passwords are hashed before the transaction that calls this."""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import StaffAccount
from server.models.staff import ROLES
from server.runtime import Runtime
from server.staff.passwords import hash_password, password_problem
from server.trust.audit import audit

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
    account = StaffAccount(
        email=address, name=name.strip(), role=role, password_hash=password_hash, failures=0, made_at=now
    )
    session.add(account)
    session.flush()
    audit(session, "account:made", f"account {account.id}", now=now, role=role)
    return account


def make_account_or_say_why(runtime: Runtime, *, email: str, name: str, role: str, password: str) -> str | None:
    """Checks and hashes the password, then makes the account. None when it is made, otherwise the reason in plain words."""
    problem = password_problem(password, email=email)
    if problem:
        return problem
    password_hash = hash_password(password)
    now = runtime.now()
    try:
        with runtime.store.writing() as session:
            create_account(session, email, name, role, password_hash, now)
    except AccountProblem as refused:
        return str(refused)
    return None
