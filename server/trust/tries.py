"""Wrong passwords and codes, counted so that guessing is slow and yet nobody keeps another person out.

NIST SP 800-63B-4, section 3.2.2, asks for about 100 wrong tries at most, names waits that grow from 30 seconds to an hour, and allows
more to addresses from which the person has signed in before. The OWASP Authentication Cheat Sheet counts known devices apart
("device cookies"). So a try from a known device or address counts against that alone, and only a stranger's tries add up:

- one account from one place: whoever sends wrong passwords from elsewhere pauses himself;
- all accounts from one strange address: trying one password with many accounts is slow too;
- one account from all strange places together: so is trying from many addresses. Known places go on signing in.

With time failures wear off, or a wrong try in every hour would keep up a pause for ever.

A person who is signed in already is counted by the session alone: no stranger has it, so no stranger's tries may count there.

While a place is paused nothing is looked at and everybody there gets the same answer. An answer that differed for the right password
would let the guessing go on during the pause. Accounts that do not exist are counted and paused as those that do.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import delete, or_, select, tuple_, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from server.models import SignInTries

KNOWN_FOR = timedelta(days=90)
ONE_FORGOTTEN_IN = timedelta(minutes=10)
FORGOTTEN_AFTER = timedelta(days=1)  # a day without a wrong try


@dataclass(frozen=True)
class Limit:
    """After `free` failures in a row each further one is followed by a pause, twice as long each time up to the longest."""

    free: int
    longest: timedelta
    first: timedelta = timedelta(seconds=30)

    def pause_after(self, failures: int) -> timedelta:
        if failures <= self.free:
            return timedelta(0)
        doublings = min(failures - self.free - 1, 10)
        return min(self.first * (1 << doublings), self.longest)


HERE = Limit(free=4, longest=timedelta(minutes=15))
ADDRESS = Limit(free=20, longest=timedelta(minutes=15))
ACCOUNT = Limit(free=50, longest=timedelta(hours=1))


@dataclass(frozen=True)
class Client:
    """Where a try comes from. `device` is what the browser keeps since somebody signed in with it, or ""."""

    address: str
    device: str = ""


def password_subject(email: str) -> str:
    """The prefixes keep apart what tries are about: somebody may type anything as an e-mail address."""
    return f"password {email}"


def second_step_subject(account_id: int) -> str:
    return f"second-step {account_id}"


def session_subject(session_id: int) -> str:
    return f"session {session_id}"


@dataclass(frozen=True)
class _Key:
    """What a row counts: `subject` is whom it is about, "" for all; `place` a device or an address, "" for all strange ones."""

    subject: str
    place: str

    @property
    def columns(self) -> tuple[bytes, bytes]:
        return _digest(self.subject), _digest(self.place)


def _digest(text: str) -> bytes:
    """People type passwords into the wrong field; what was typed is not kept."""
    return hashlib.sha256(text.encode("utf-8")).digest()


def _device(subject: str, client: Client) -> _Key:
    return _Key(subject, f"device {client.device}")


def _address(subject: str, client: Client) -> _Key:
    return _Key(subject, f"address {client.address}")


def _rows(session: Session, keys: Iterable[_Key]) -> dict[tuple[bytes, bytes], SignInTries]:
    """Locked, in one order, where the database has row locks: two wrong tries at one moment are two."""
    columns = tuple_(SignInTries.subject_hash, SignInTries.place_hash)
    wanted = select(SignInTries).where(columns.in_([key.columns for key in keys]))
    if not session.connection().get_execution_options().get("ro", False):
        wanted = wanted.order_by(SignInTries.subject_hash, SignInTries.place_hash).with_for_update()
    return {(row.subject_hash, row.place_hash): row for row in session.scalars(wanted)}


def _is_known(row: SignInTries | None, now: datetime) -> bool:
    return row is not None and row.succeeded_at is not None and row.succeeded_at > now - KNOWN_FOR


def _counted(session: Session, subject: str, client: Client | None, now: datetime) -> list[tuple[_Key, Limit]]:
    """What a try of this client counts against; the first is the client's own place. Without a client, the subject alone."""
    if client is None:
        return [(_Key(subject, ""), HERE)]
    device, address = _device(subject, client), _address(subject, client)
    found = _rows(session, (device, address))
    if client.device and _is_known(found.get(device.columns), now):
        return [(device, HERE)]
    if _is_known(found.get(address.columns), now):
        return [(address, HERE)]
    return [(address, HERE), (_address("", client), ADDRESS), (_Key(subject, ""), ACCOUNT)]


def paused_until(session: Session, subject: str, client: Client | None, *, now: datetime) -> datetime | None:
    """Until when nothing of this client about this subject is looked at; None when it may try."""
    counted = _counted(session, subject, client, now)
    rows = _rows(session, [key for key, _limit in counted])
    ends = [
        row.last_failure_at + limit.pause_after(row.failures)
        for key, limit in counted
        if (row := rows.get(key.columns)) is not None and row.last_failure_at is not None
    ]
    latest = max(ends, default=now)
    return latest if latest > now else None


def count_wrong(session: Session, subject: str, client: Client | None, *, now: datetime) -> int:
    """Counts a wrong try wherever it counts; returns how many there were in a row from this place."""
    keys = [key for key, _limit in _counted(session, subject, client, now)]
    rows = _made(session, keys)
    for row in rows.values():
        row.failures = _failures_left(row, now) + 1
        row.last_failure_at = now
    return rows[keys[0].columns].failures


def _failures_left(row: SignInTries, now: datetime) -> int:
    if row.last_failure_at is None or row.last_failure_at <= now - FORGOTTEN_AFTER:
        return 0
    return max(row.failures - (now - row.last_failure_at) // ONE_FORGOTTEN_IN, 0)


def count_right(session: Session, subject: str, client: Client | None, *, now: datetime) -> None:
    """Earlier wrong tries from this place are forgiven, and those of strangers. What one address did to other accounts is not."""
    place = _counted(session, subject, client, now)[0][0]
    for row in _rows(session, (place, _Key(subject, ""))).values():
        row.failures, row.last_failure_at = 0, None


def forgive_all(session: Session, subject: str) -> None:
    """Every place may try again; what is known stays known."""
    rows = update(SignInTries).where(SignInTries.subject_hash == _digest(subject))
    session.execute(rows.values(failures=0, last_failure_at=None))


def pauses(session: Session, subjects: Iterable[str], *, now: datetime) -> dict[str, datetime]:
    """By subject: until when somewhere nobody may try. Known devices, and other addresses, may be free of it."""
    named = {_digest(subject): subject for subject in subjects}
    failed = SignInTries.last_failure_at > now - FORGOTTEN_AFTER
    found: dict[str, datetime] = {}
    for row in session.scalars(select(SignInTries).where(SignInTries.subject_hash.in_(named), failed)):
        limit = ACCOUNT if row.place_hash == _digest("") else HERE
        ends = (row.last_failure_at or now) + limit.pause_after(row.failures)
        if ends > now:
            subject = named[row.subject_hash]
            found[subject] = max(ends, found.get(subject, ends))
    return found


def make_known(session: Session, subject: str, client: Client, *, now: datetime) -> None:
    """After signing in with all steps: from this address and device strangers cannot keep this person out any more."""
    keys = [_address(subject, client), *([_device(subject, client)] if client.device else [])]
    for row in _made(session, keys).values():
        row.succeeded_at = now


def forget_tries(session: Session, *, now: datetime) -> None:
    """What counts no longer: no wrong try for a day, and nobody known there."""
    failed, succeeded = SignInTries.last_failure_at, SignInTries.succeeded_at
    quiet = or_(failed.is_(None), failed <= now - FORGOTTEN_AFTER)
    strange = or_(succeeded.is_(None), succeeded <= now - KNOWN_FOR)
    session.execute(delete(SignInTries).where(quiet, strange))


def _made(session: Session, keys: Iterable[_Key]) -> dict[tuple[bytes, bytes], SignInTries]:
    """The rows, made where there were none; two processes may make the same row at one moment."""
    keys = list(keys)
    insert = sqlite.insert if session.connection().dialect.name == "sqlite" else postgresql.insert
    for subject_hash, place_hash in sorted(key.columns for key in keys):
        new = insert(SignInTries).values(subject_hash=subject_hash, place_hash=place_hash, failures=0)
        session.execute(new.on_conflict_do_nothing())
    return _rows(session, keys)
