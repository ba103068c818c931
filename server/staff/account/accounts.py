"""Making and changing staff accounts, for pages and the command line. Passwords are hashed before the transaction that calls this.

A clinic always keeps one data manager who can sign in. So whoever shuts an account or changes a role first takes it by `locked_account`.
"""

from datetime import datetime

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from server.installation.runtime import Runtime
from server.models import StaffAccount
from server.models.staff import ROLES
from server.queries.clock import the_clinic
from server.staff.account.invitations import withdraw_invitation
from server.staff.account.passwords import hash_password, password_problem
from server.staff.page.sessions import revoke_all
from server.trust.audit import audit
from server.trust.tries import forgive_all, password_subject, second_step_subject
from server.words.catalogue import SOURCE_LANGUAGE
from server.words.language import Words
from server.words.phrase import Phrase, phrase

__all__ = ["AccountProblem", "create_account", "hash_password", "make_account_or_say_why", "password_problem"]

MANAGER = "data_manager"
LONGEST_NAME, LONGEST_EMAIL = 80, 120  # as the columns


class AccountProblem(ValueError):
    """What cannot be done with an account: which field is wrong, "" for none, and why in plain words."""

    def __init__(self, field: str, sentence: Phrase) -> None:
        super().__init__(Words("staff", SOURCE_LANGUAGE).say(sentence))
        self.field, self.sentence = field, sentence


def create_account(
    session: Session,
    email: str,
    name: str,
    role: str,
    password_hash: str | None,
    now: datetime,
    by_id: int | None = None,
) -> StaffAccount:
    """A new account with an id. `password_hash` is from `hash_password`, or None for who chooses it by an invitation.

    Raises AccountProblem.
    """
    address, name = email.strip().lower(), _checked_name(name)
    _check_role(role)
    if not _is_address(address):
        raise AccountProblem("email", phrase("This is no e-mail address. It looks like name@clinic.example."))
    if account_named(session, address) is not None:
        raise AccountProblem("email", phrase("There is already an account for this e-mail address."))
    account = StaffAccount(email=address, name=name, role=role, password_hash=password_hash, made_at=now)
    session.add(account)
    session.flush()
    audit(session, "account:made", f"account {account.id}", now=now, by_id=by_id, role=role)
    return account


def _is_address(text: str) -> bool:
    before, at, after = text.partition("@")
    return bool(before and at and after) and len(text) <= LONGEST_EMAIL and text.isprintable() and " " not in text


def _checked_name(text: str) -> str:
    name = " ".join(text.split())
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise AccountProblem(
            "name", phrase("A name is needed, of at most %(longest)s characters.", longest=LONGEST_NAME)
        )
    return name


def _check_role(role: str) -> None:
    if role not in ROLES:
        raise AccountProblem("role", phrase("Choose one of the roles: nurse, surgeon or data manager."))


def account_named(session: Session, email: str) -> StaffAccount | None:
    return session.scalar(select(StaffAccount).where(StaffAccount.email == email.strip().lower()))


def locked_account(session: Session, account_id: int) -> StaffAccount | None:
    """The account, locked until the transaction ends, and with it every data manager's: of two who shut each other at one moment
    the second sees what the first did. Always in the same order, or the two would wait for each other."""
    wanted = select(StaffAccount).where(or_(StaffAccount.id == account_id, StaffAccount.role == MANAGER))
    rows = session.scalars(wanted.order_by(StaffAccount.id).with_for_update(key_share=True)).all()
    return next((each for each in rows if each.id == account_id), None)


def _check_one_is_left(session: Session, account: StaffAccount) -> None:
    """Raises AccountProblem if no other data manager can sign in. Who is only invited cannot."""
    others = select(StaffAccount.id).where(
        StaffAccount.id != account.id,
        StaffAccount.role == MANAGER,
        StaffAccount.disabled_at.is_(None),
        StaffAccount.password_hash.is_not(None),
    )
    if account.role == MANAGER and session.scalars(others).first() is None:
        raise AccountProblem(
            "role",
            phrase(
                "This is the only data manager who can sign in, and without one nobody could let people in or out. Nothing is changed. "
                "Make another data manager first, who signs in once."
            ),
        )


def reset_account(
    session: Session, account: StaffAccount, name: str, role: str, password_hash: str, now: datetime, real_now: datetime
) -> None:
    """A new password, name and role for an account that exists. It may sign in again, and its running sessions end."""
    _check_role(role)
    name = _checked_name(name)
    if role != MANAGER:
        _check_one_is_left(session, account)
    account.name, account.role, account.password_hash = name, role, password_hash
    account.disabled_at = None
    withdraw_invitation(session, account.id)
    forgive_all(session, password_subject(account.email))
    revoke_all(session, account.id, now=real_now)
    audit(session, "account:set-anew", f"account {account.id}", now=now, role=role)


def rename_account(session: Session, account: StaffAccount, name: str, *, now: datetime, by_id: int) -> None:
    """Raises AccountProblem."""
    name = _checked_name(name)
    if name != account.name:
        account.name = name
        audit(session, "account:name-changed", f"account {account.id}", now=now, by_id=by_id)


def change_role(
    session: Session, account: StaffAccount, role: str, *, now: datetime, real_now: datetime, by_id: int
) -> None:
    """Whoever is signed in with it is out: a page that was opened in the old role sends nothing. Raises AccountProblem."""
    _check_role(role)
    if role == account.role:
        return
    _check_one_is_left(session, account)
    before, account.role = account.role, role
    revoke_all(session, account.id, now=real_now)
    audit(session, "account:role-changed", f"account {account.id}", now=now, by_id=by_id, before=before, role=role)


def shut_account(session: Session, account: StaffAccount, *, now: datetime, real_now: datetime, by_id: int) -> None:
    """The account may no longer sign in, and whoever is signed in with it is out. Raises AccountProblem."""
    _check_one_is_left(session, account)
    if account.disabled_at is None:
        account.disabled_at = real_now
        audit(session, "account:shut", f"account {account.id}", now=now, by_id=by_id)
    withdraw_invitation(session, account.id)
    revoke_all(session, account.id, now=real_now)


def open_account(session: Session, account: StaffAccount, *, now: datetime, by_id: int) -> None:
    """It may sign in again, with the password and the second step that it had."""
    if account.disabled_at is not None:
        account.disabled_at = None
        audit(session, "account:opened", f"account {account.id}", now=now, by_id=by_id)


def unlock_account(session: Session, account: StaffAccount, *, now: datetime, by_id: int) -> None:
    """Wrong tries at the password and at the second step are forgiven: everybody there may try again."""
    for subject in (password_subject(account.email), second_step_subject(account.id)):
        forgive_all(session, subject)
    audit(session, "account:unlocked", f"account {account.id}", now=now, by_id=by_id)


def make_account_or_say_why(runtime: Runtime, *, email: str, name: str, role: str, password: str) -> str | None:
    """Makes the account, or resets the one of this e-mail. None when it is done, otherwise the reason, in English."""
    with runtime.store.reading() as session:
        clinic_name = the_clinic(session).name
    problem = password_problem(password, own=(email, name, clinic_name))
    if problem:
        return Words("staff", SOURCE_LANGUAGE).say(problem)
    password_hash = hash_password(password)
    now, real_now = runtime.now(), runtime.real_clock()
    try:
        with runtime.store.writing() as session:
            known = account_named(session, email)
            if known is None:
                create_account(session, email, name, role, password_hash, now)
            else:
                account = locked_account(session, known.id) or known
                reset_account(session, account, name, role, password_hash, now, real_now)
    except AccountProblem as refused:
        return str(refused)
    return None
