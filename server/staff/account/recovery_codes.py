"""Printed codes for the day when phone and key are lost. Each is good once."""

import hashlib
import secrets
from datetime import datetime

from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from server.models import StaffRecoveryCode

HOW_MANY = 10
ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # no I, L, O, U: nothing that is read as something else
MISREAD = str.maketrans("OIL", "011")
GROUPS, GROUP_LENGTH = 5, 5
# 125 bits. NIST SP 800-63B-4, 3.1.2.2, lets secrets of 112 bits and more be kept under a plain hash.

_UNCONFIRMED = StaffRecoveryCode.confirmed_at.is_(None)


def make_recovery_codes(session: Session, account_id: int, *, now: datetime) -> list[str]:
    """Ten new codes, to be shown this once; earlier ones are good no more."""
    forget_recovery_codes(session, account_id)
    codes = ["-".join(_group() for _number in range(GROUPS)) for _code in range(HOW_MANY)]
    session.add_all(StaffRecoveryCode(account_id=account_id, code_hash=_hash(code), made_at=now) for code in codes)
    return codes


def forget_recovery_codes(session: Session, account_id: int) -> None:
    session.execute(delete(StaffRecoveryCode).where(StaffRecoveryCode.account_id == account_id))


def recovery_code_is_right(session: Session, account_id: int, typed: str, *, now: datetime) -> bool:
    """Uses the code up. Small letters, missing dashes and misread letters do not matter."""
    code = session.scalar(
        select(StaffRecoveryCode)
        .where(StaffRecoveryCode.account_id == account_id, StaffRecoveryCode.code_hash == _hash(typed))
        .where(StaffRecoveryCode.used_at.is_(None))
        .with_for_update()
    )
    if code is None:
        return False
    code.used_at = now
    confirm_recovery_codes(session, account_id, now=now)
    return True


def confirm_recovery_codes(session: Session, account_id: int, *, now: datetime) -> None:
    """The person has them: the answer that showed them may have been lost on its way."""
    waiting = update(StaffRecoveryCode).where(StaffRecoveryCode.account_id == account_id, _UNCONFIRMED)
    session.execute(waiting.values(confirmed_at=now))


def recovery_codes_unconfirmed(session: Session, account_id: int) -> bool:
    waiting = select(StaffRecoveryCode.id).where(StaffRecoveryCode.account_id == account_id, _UNCONFIRMED)
    return session.scalars(waiting.limit(1)).first() is not None


def recovery_codes_left(session: Session, account_id: int) -> int:
    unused = select(func.count()).where(StaffRecoveryCode.account_id == account_id, StaffRecoveryCode.used_at.is_(None))
    return session.scalar(unused) or 0


def _group() -> str:
    return "".join(secrets.choice(ALPHABET) for _letter in range(GROUP_LENGTH))


def _hash(code: str) -> bytes:
    plain = "".join(each for each in code.upper() if each.isalnum()).translate(MISREAD)
    return hashlib.sha256(plain.encode("utf-8")).digest()
