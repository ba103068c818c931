"""Data locks: an export that is kept under a name, since a paper refers to it. Made, read again byte for byte, and compared with today.

The zip file lies in the database, sealed under the clinic's field key: a backup of the database holds it, one transaction writes all of it
or nothing, and a copy of the database alone opens no answer. Rejected: a folder of files, which a backup of the database would leave out.
"""

import hashlib
import re
import tempfile
from datetime import date
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.exports import export_set
from server.exports.compare import TableChange, compare
from server.exports.zipped import zipped
from server.installation.runtime import Runtime
from server.models import DataLock
from server.trust.audit import audit

NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")
LONGEST_WHY = 400
_CONTENT = "data_lock.content"


class LockRefused(ValueError):
    """Nothing was locked; the message says why, and `about` whether it is the name or the reason."""

    def __init__(self, message: str, about: str = "name") -> None:
        super().__init__(message)
        self.about = about


class LockAltered(RuntimeError):
    """What is kept is not what was locked."""


def make_lock(runtime: Runtime, name: str, why: str, *, by_id: int | None) -> DataLock:
    """Locks the data of this moment under a new name. Raises LockRefused, and what export_set raises.

    Whoever is killed meanwhile leaves no lock and a free name: the row with its bytes is the last thing written, in one transaction.
    What may then be left is the folder of the plain files, which this account alone can read, among the system's temporary ones.
    """
    plain, reason, now = name.strip(), why.strip(), runtime.now()
    _refuse(runtime, plain, reason)
    with tempfile.TemporaryDirectory(prefix="yearmark-lock-") as folder:
        out = Path(folder) / "set"
        as_of = export_set(runtime.store, runtime.keys.patient_cipher, runtime.library, out, now=now, by_id=by_id).as_of
        content = zipped(out)
    lock = DataLock(
        name=plain, as_of=as_of, why=reason, sha256=hashlib.sha256(content).digest(), length=len(content), made_at=now,
        made_by_id=by_id, content=runtime.store.ring.seal(content, _CONTENT),
    )  # fmt: skip
    try:
        with runtime.store.writing() as session:
            session.add(lock)
            session.flush()
            what = {"name": plain, "as_of": as_of, "sha256": lock.sha256.hex()}
            audit(session, "data_lock:made", f"data_lock {lock.id}", now=now, by_id=by_id, **what)
            session.expunge(lock)
    except IntegrityError as problem:  # of two at once
        raise LockRefused(_taken(plain)) from problem
    return lock


def _refuse(runtime: Runtime, name: str, why: str) -> None:
    if not NAME.fullmatch(name):
        raise LockRefused("a name has 1 to 40 small letters, digits and hyphens, such as five-years-2027")
    if not 0 < len(why) <= LONGEST_WHY:
        raise LockRefused(f"say what it is for, such as the paper, in at most {LONGEST_WHY} characters", "why")
    with runtime.store.reading() as session:
        if find_lock(session, name) is not None:
            raise LockRefused(_taken(name))


def _taken(name: str) -> str:
    return f"there is a data lock {name} already, and a lock never changes; choose another name"


def find_lock(session: Session, name: str) -> DataLock | None:
    return session.scalars(select(DataLock).where(DataLock.name == name)).one_or_none()


def locks(session: Session) -> list[DataLock]:
    """All of them, the newest first, without their content."""
    return list(session.scalars(select(DataLock).order_by(DataLock.made_at.desc(), DataLock.id.desc())))


def content_of(runtime: Runtime, lock_id: int) -> bytes:
    """The zip file as it was locked. Raises LockAltered."""
    with runtime.store.reading() as session:
        lock = session.get_one(DataLock, lock_id)
        try:
            content = runtime.store.ring.open(lock.content, _CONTENT)
        except ValueError as problem:
            raise LockAltered(
                f"the data lock {lock.name} does not open: its key is missing, or it was altered"
            ) from problem
        if hashlib.sha256(content).digest() != lock.sha256:
            raise LockAltered(f"the data lock {lock.name} is no longer what was locked: its SHA-256 differs")
    return content


def note_download(session: Session, lock: DataLock, runtime: Runtime, *, by_id: int | None) -> None:
    """In the audit trail, before the file leaves."""
    audit(session, "data_lock:downloaded", f"data_lock {lock.id}", now=runtime.now(), by_id=by_id, name=lock.name)


def changes_since(runtime: Runtime, lock_id: int, *, by_id: int | None) -> tuple[date, list[TableChange]]:
    """The day of the present data, and what differs from the locked files, table by table."""
    content = content_of(runtime, lock_id)
    with tempfile.TemporaryDirectory(prefix="yearmark-lock-") as folder:
        out = Path(folder) / "set"
        now = runtime.now()
        made = export_set(runtime.store, runtime.keys.patient_cipher, runtime.library, out, now=now, by_id=by_id)
        return made.as_of, compare(content, out)
