"""Copies either database by its own means, out of the snapshot that a session sees, and loads a copy into an empty one.

SQLite by its online backup, PostgreSQL by `pg_dump` and `pg_restore`: both beside a running server.
"""

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from sqlalchemy import URL, Engine, inspect, make_url, text
from sqlalchemy.orm import Session

from server.models import Base
from server.trust.backup.manifest import CopyProblem
from server.trust.backup.place import copy_file, sync_folder

FILES = {"sqlite": "database.sqlite3", "postgresql": "database.pgdump"}
PAGES_AT_ONCE = 1000
BESIDE = ("-wal", "-shm", "-journal")
_TOOLS_MISSING = (
    "is not installed, without which PostgreSQL cannot be copied (Debian and Ubuntu: apt install postgresql-client)"
)
_HOW = ("--no-owner", "--no-privileges")


def without_password(url: str) -> tuple[URL, str | None]:
    """The address, and the password that stood in it: before the host, or among the parameters."""
    parsed = make_url(url)
    among = parsed.query.get("password")
    password = parsed.password or (among if among is None or isinstance(among, str) else among[-1])
    return parsed._replace(password=None).difference_update_query(["password"]), password


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
        raise CopyProblem(f"the database could not be copied: {problem}. The clinic is as it was") from problem
    if said != "ok":
        raise CopyProblem(
            f"the database is damaged, so no copy of it was made: {said}. Earlier copies are as they were"
        )


def load_database(folder: Path, url: str) -> None:
    """Into an empty database; whole, or not at all."""
    parsed = make_url(url)
    if parsed.get_backend_name() == "postgresql":
        dump = str(folder / FILES["postgresql"])
        _run("pg_restore", url, "--single-transaction", "--exit-on-error", *_HOW, dump, into=True)
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


def _run(tool: str, url: str | None, *arguments: str, into: bool = False) -> None:
    """The password goes by the environment: other users of the machine can read a command line."""
    if shutil.which(tool) is None:
        raise CopyProblem(f"{tool} {_TOOLS_MISSING}. Nothing was changed")
    environment, words = dict(os.environ), [tool, *arguments]
    if url is not None:
        address, password = without_password(url)
        if password is not None:
            environment["PGPASSWORD"] = password
        plain = address.set(drivername="postgresql")
        words.append(f"--dbname={plain.render_as_string(hide_password=False)}")
    done = subprocess.run(words, env=environment, check=False, capture_output=True, text=True)
    if done.returncode:
        said = next(iter(done.stderr.strip().splitlines()), f"exit code {done.returncode}")
        what = "nothing was loaded into the database" if into else "no copy was made. The clinic is as it was"
        raise CopyProblem(f"{said}; {what}")
