"""Copies either database by its own means, out of the snapshot that a session sees, and loads a copy into an empty one.

SQLite by its online backup, PostgreSQL by `pg_dump` and `pg_restore`: both beside a running server.
"""

import errno
import os
import shutil
import sqlite3
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy import URL, Engine, inspect, make_url, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from server.models import Base
from server.store.whole_file import sync_folder
from server.trust.backup.manifest import CopyProblem
from server.trust.backup.place import MAKE_ROOM, copy_file

FILES = {"sqlite": "database.sqlite3", "postgresql": "database.pgdump"}
PAGES_AT_ONCE = 1000
BESIDE = ("-wal", "-shm", "-journal")
_TOOLS_MISSING = (
    "is not installed, without which PostgreSQL cannot be copied (Debian and Ubuntu: apt install postgresql-client)"
)
_HOW = ("--no-owner", "--no-privileges")
_FULL = os.strerror(errno.ENOSPC)
_SERVICE = "yearmark"


def without_passwords(url: str) -> tuple[URL, str | None, str | None]:
    """The address, and what stood in it: the password, before the host or among the parameters, and that of the certificate's key."""
    parsed = make_url(url)
    password, of_the_key = (
        each if each is None or isinstance(each, str) else each[-1]
        for each in (parsed.query.get("password"), parsed.query.get("sslpassword"))
    )
    plain = parsed._replace(password=None).difference_update_query(["password", "sslpassword"])
    return plain, parsed.password or password, of_the_key


def copy_database(session: Session, url: str, folder: Path, progress: Callable[[int, int], None]) -> None:
    """Writes the database as `session` sees it. `progress` is told pages done and all of them, of SQLite alone.

    The session must be in a transaction that reads one moment.
    """
    name = make_url(url).get_backend_name()
    file = folder / FILES[name]
    if name == "postgresql":
        snapshot = session.scalar(text("SELECT pg_export_snapshot()"))
        _run("pg_dump", url, "--format=custom", f"--snapshot={snapshot}", f"--file={file}", *_HOW)
        _run("pg_restore", None, "--list", str(file))
        return
    source = session.connection().connection.driver_connection
    if not isinstance(source, sqlite3.Connection):
        raise TypeError("the session is not one of SQLite")
    try:
        with closing(sqlite3.connect(file)) as target:
            # In parts, for the progress: the open snapshot keeps other writers from starting it anew.
            source.backup(
                target, pages=PAGES_AT_ONCE, progress=lambda _status, left, pages: progress(pages - left, pages)
            )
            # The copy is one file that anybody may read; the server turns its journal on again.
            target.execute("PRAGMA journal_mode=delete")
            [said] = target.execute("PRAGMA quick_check").fetchone()
    except sqlite3.Error as problem:
        if problem.sqlite_errorcode == sqlite3.SQLITE_FULL:
            raise OSError(errno.ENOSPC, str(problem)) from problem
        raise CopyProblem(f"the database could not be copied: {problem}. The clinic is as it was") from problem
    if said != "ok":
        raise CopyProblem(
            f"the database is damaged, so no copy of it was made: {said}. Earlier copies are as they were"
        )


def load_database(folder: Path, url: str, held: int) -> None:
    """Into an empty database; whole, or not at all. `held` is the descriptor of `FolderLock.loading`. Raises OSError, CopyProblem."""
    parsed = make_url(url)
    if parsed.get_backend_name() == "postgresql":
        dump = str(folder / FILES["postgresql"])
        _run("pg_restore", url, "--single-transaction", "--exit-on-error", *_HOW, dump, held=held)
        return
    target = Path(parsed.database or "")
    temporary = target.with_name(f".{target.name}.loading")
    copy_file(folder / FILES["sqlite"], temporary)
    temporary.rename(target)
    sync_folder(target.parent)


def is_empty(engine: Engine) -> bool:
    """Whether no table is in it. Makes no file where SQLite has none."""
    if engine.dialect.name == "sqlite" and not Path(engine.url.database or "").exists():
        return True
    return not inspect(engine.execution_options(ro=True)).get_table_names()


def is_full(problem: DBAPIError) -> bool:
    """Whether there was no room on the disk of the database. SQLite says otherwise when its file of shared memory cannot grow."""
    if isinstance(problem.orig, sqlite3.Error):
        return problem.orig.sqlite_errorcode in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_SHMSIZE)
    return getattr(problem.orig, "sqlstate", None) == "53100"


def empty_database(engine: Engine) -> None:
    """Takes away what an unfinished restore has loaded."""
    if engine.dialect.name == "sqlite":
        engine.dispose()
        file = Path(engine.url.database or "")
        for name in (file.name, *(f"{file.name}{ending}" for ending in BESIDE), f".{file.name}.loading"):
            file.with_name(name).unlink(missing_ok=True)
        return
    with engine.begin() as connection:
        Base.metadata.drop_all(connection)
        connection.execute(text("DROP TABLE IF EXISTS alembic_version"))


def _run(tool: str, url: str | None, *arguments: str, held: int | None = None) -> None:
    """Passwords go by the environment and by a file without a name: other users of the machine can read a command line.

    `held` is of what loads into a database. Raises OSError when the disk of a copy is full, else CopyProblem.
    """
    if shutil.which(tool) is None:
        raise CopyProblem(f"{tool} {_TOOLS_MISSING}. Nothing was changed")
    words, kept = [tool, *arguments], () if held is None else (held,)
    with _login(url) as (address, environment, files):
        done = subprocess.run(
            [*words, *address], env={**os.environ, **environment}, check=False, capture_output=True, text=True,
            pass_fds=(*kept, *files),
        )  # fmt: skip
    if not done.returncode:
        return
    if _FULL in done.stderr and held is None:
        raise OSError(errno.ENOSPC, _FULL)
    if _FULL in done.stderr:
        raise CopyProblem(f"the disk of the database is full; nothing was loaded into it. {MAKE_ROOM}")
    said = next(iter(done.stderr.strip().splitlines()), f"{tool} ended with {done.returncode}")
    what = "no copy was made. The clinic is as it was" if held is None else "nothing was loaded into the database"
    raise CopyProblem(f"{said}; {what}")


@contextmanager
def _login(url: str | None) -> Iterator[tuple[list[str], dict[str, str], tuple[int, ...]]]:
    """Words, environment and open files with which a tool reaches the database."""
    if url is None:
        yield [], {}, ()
        return
    address, password, of_the_key = without_passwords(url)
    words = [f"--dbname={address.set(drivername='postgresql').render_as_string(hide_password=False)}"]
    environment = {} if password is None else {"PGPASSWORD": password}
    if of_the_key is None:
        yield words, environment, ()
        return
    if "service" in address.query or "PGSERVICE" in os.environ:
        raise CopyProblem(
            "YEARMARK_DATABASE_URL names a service and a password of a key, which the tools of PostgreSQL cannot be given both. Nothing "
            "was changed. Write sslpassword into the file of the service, and take it out of the address"
        )
    # There is no variable for it. A file without a name goes with whoever has it open, also by kill -9.
    with tempfile.TemporaryFile() as service:
        service.write(f"[{_SERVICE}]\nsslpassword={of_the_key}\n".encode())
        service.seek(0)
        named = {"PGSERVICE": _SERVICE, "PGSERVICEFILE": f"/dev/fd/{service.fileno()}"}
        yield words, {**environment, **named}, (service.fileno(),)
