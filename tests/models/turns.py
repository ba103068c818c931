"""Processes that write in turns to one data folder. It imports little, since each process imports it anew."""

from datetime import UTC, datetime
from multiprocessing.synchronize import Event
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.crypto.fields import FieldRing
from server.models import AuditEntry
from server.store.engine import Store, make_engine
from server.store.folder_lock import FolderLock
from server.trust.audit import audit

RING = FieldRing({"aaaa0001": bytes(32)}, "aaaa0001")
WRITTEN_AT = datetime(2026, 7, 1, 9, tzinfo=UTC)


class Queue:
    """The places of a folder's lock, counted from now on."""

    def __init__(self, folder: Path) -> None:
        self._taken = folder / "locks" / "queue"
        self._before = self._places()

    def has_waiting(self, many: int, writing_or_written: int) -> bool:
        return self._places() - self._before == many + writing_or_written

    def _places(self) -> int:
        return int.from_bytes(self._taken.read_bytes()[:8])


def write_until(ended: Event, folder: Path, name: str) -> None:
    store = Store(make_engine(f"sqlite:///{folder}/clinic.sqlite", FolderLock(folder)), RING)
    while not ended.is_set():
        with store.writing() as session:
            take_turn(session, name)
    store.engine.dispose()


def take_turn(session: Session, name: str) -> None:
    audit(session, "turn:taken", name, now=WRITTEN_AT)


def turns_of(session: Session) -> list[str]:
    """Who has written, in the order of writing."""
    taken = select(AuditEntry.thing).where(AuditEntry.action == "turn:taken").order_by(AuditEntry.id)
    return list(session.scalars(taken))
