"""All second factors of an account together: which there are, adding, removing, losing them."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.models import StaffAccount, StaffAuthenticatorApp, StaffPasskey
from server.models.staff import IN, SECOND_STEP, SET_UP
from server.staff.account.recovery_codes import forget_recovery_codes
from server.staff.page.sessions import revoke_all
from server.trust.audit import audit
from server.trust.tries import forgive_all, second_step_subject

Row = StaffPasskey | StaffAuthenticatorApp
KINDS = ("passkey", "app")
LONGEST_NAME = 60


class OnlyOne(Exception):
    """The last second factor of an account cannot be removed: the next sign-in would be left with the password alone."""


@dataclass(frozen=True)
class Factor:
    kind: str  # a word of KINDS
    id: int
    name: str
    made_at: datetime
    last_used_at: datetime | None


def _rows(session: Session, account_id: int) -> list[tuple[str, Row]]:
    passkeys = session.scalars(select(StaffPasskey).where(StaffPasskey.account_id == account_id))
    apps = session.scalars(select(StaffAuthenticatorApp).where(StaffAuthenticatorApp.account_id == account_id))
    return [*(("passkey", row) for row in passkeys), *(("app", row) for row in apps)]


def _row(session: Session, account_id: int, kind: str, factor_id: int) -> Row | None:
    return next((row for each, row in _rows(session, account_id) if (each, row.id) == (kind, factor_id)), None)


def factors_of(session: Session, account_id: int) -> list[Factor]:
    """The oldest first."""
    rows = _rows(session, account_id)
    found = [Factor(kind, row.id, row.name, row.made_at, row.last_used_at) for kind, row in rows]
    return sorted(found, key=lambda each: (each.made_at, each.kind, each.id))


def stage_after_password(session: Session, account_id: int, *, demo: bool) -> str:
    """A demo asks nobody for a second factor; on a live clinic nobody gets further without one."""
    if demo:
        return IN
    return SECOND_STEP if factors_of(session, account_id) else SET_UP


def remove_factor(session: Session, account_id: int, kind: str, factor_id: int, *, now: datetime) -> bool:
    """False when there is none such. Raises OnlyOne. The account's row is locked: of two removals at once the second sees the first."""
    session.get_one(StaffAccount, account_id, with_for_update={"key_share": True})
    row = _row(session, account_id, kind, factor_id)
    if row is None:
        return False
    if len(_rows(session, account_id)) == 1:
        raise OnlyOne
    session.delete(row)
    audit(session, "second-factor:removed", f"account {account_id}", now=now, by_id=account_id, kind=kind)
    return True


def rename_factor(session: Session, account_id: int, kind: str, factor_id: int, name: str, *, now: datetime) -> bool:
    """False when there is none such."""
    row = _row(session, account_id, kind, factor_id)
    if row is None:
        return False
    row.name = name
    audit(session, "second-factor:renamed", f"account {account_id}", now=now, by_id=account_id, kind=kind)
    return True


def reset_second_factors(
    session: Session, account: StaffAccount, *, now: datetime, real_now: datetime, by_id: int | None = None
) -> None:
    """For a person who lost all of them: the next sign-in sets one up anew. `by_id` None is the command line."""
    for _kind, row in _rows(session, account.id):
        session.delete(row)
    forget_recovery_codes(session, account.id)
    forgive_all(session, second_step_subject(account.id))
    revoke_all(session, account.id, now=real_now)
    audit(session, "second-factor:reset", f"account {account.id}", now=now, by_id=by_id)
