"""A clinic's data: an engine, the folder's lock, and the field ring, handed out as short sessions for reading or writing."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Engine, create_engine, event
from sqlalchemy.engine import URL, Connection, make_url
from sqlalchemy.orm import Session

from server.crypto.fields import FieldRing
from server.store.base import field_ring
from server.store.folder_lock import FolderLock

HELD = "folder_lock"
PRAGMAS = ("journal_mode=wal", "synchronous=full", "foreign_keys=on", "busy_timeout=10000", "trusted_schema=off")


def make_engine(url: str | URL, lock: FolderLock | None) -> Engine:
    """An engine with the measured SQLite recipe and the folder's lock, which PostgreSQL does not take: it locks for itself."""
    parsed = make_url(url)
    engine = create_engine(parsed, **engine_options(parsed))
    prepare_engine(engine, lock)
    return engine


def engine_options(url: URL) -> dict[str, Any]:
    if url.get_backend_name() == "sqlite":
        return {"hide_parameters": True, "connect_args": {"check_same_thread": False}}
    return {"hide_parameters": True, "pool_pre_ping": True}  # no log holds what a patient or a nurse typed


def read_only(engine: Engine) -> dict[str, Any]:
    """Execution options of a connection on which nothing may be written."""
    return {"ro": True} if engine.dialect.name == "sqlite" else {"ro": True, "postgresql_readonly": True}


@contextmanager
def sealed_fields(ring: FieldRing) -> Iterator[None]:
    """Within it sealed columns open and close under this ring."""
    token = field_ring.set(ring)
    try:
        yield
    finally:
        field_ring.reset(token)


def prepare_engine(engine: Engine, lock: FolderLock | None) -> None:
    """Gives an engine the recipe of this project: pragmas, one writer at a time, read-only where it was asked for."""
    is_sqlite = engine.dialect.name == "sqlite"
    if is_sqlite:
        event.listen(engine, "connect", _connected)
    else:
        lock = None

    @event.listens_for(engine, "begin")
    def begun(connection: Connection) -> None:
        reads_only = connection.get_execution_options().get("ro", False)
        # The lock comes before BEGIN IMMEDIATE, or writers would queue inside SQLite, which serves them in no order.
        if lock is not None and not reads_only and HELD not in connection.info:
            connection.info[HELD] = lock.acquire()
        if is_sqlite:
            # Straight to the driver: it cannot fail, and every short session begins with it.
            connection.connection.cursor().execute(f"PRAGMA query_only={int(reads_only)}")
            connection.exec_driver_sql("BEGIN" if reads_only else "BEGIN IMMEDIATE")

    def let_go(_connection: Any, record: Any, *_details: Any) -> None:
        """When the connection goes back to the pool, whatever happened between."""
        held = record.info.pop(HELD, None) if record is not None else None
        if lock is not None and held is not None:
            lock.release(held)

    event.listen(engine.pool, "checkin", let_go)
    event.listen(engine.pool, "invalidate", let_go)


def _connected(connection: Any, _record: Any) -> None:
    # The driver's own transaction handling begins too late; the begin event does it instead.
    connection.isolation_level = None
    for pragma in PRAGMAS:
        connection.execute(f"PRAGMA {pragma}")


def one_snapshot(session: Session) -> None:
    """All queries of a new session see one moment. SQLite's reading transaction is one already; PostgreSQL must be asked."""
    if session.get_bind().dialect.name == "postgresql":
        session.connection(execution_options={"isolation_level": "REPEATABLE READ"})


class Store:
    """Sessions for one clinic. Values sealed under the field ring open only inside them."""

    def __init__(self, engine: Engine, ring: FieldRing) -> None:
        self.engine = engine
        self.ring = ring
        self._readers = engine.execution_options(**read_only(engine))

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A consistent view that takes no lock. Nothing may be written."""
        with sealed_fields(self.ring), Session(self._readers, autoflush=False) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """One write transaction: committed at the end, rolled back on any exception. Never mail or hash a password inside."""
        with sealed_fields(self.ring), Session(self.engine) as session, session.begin():
            yield session
