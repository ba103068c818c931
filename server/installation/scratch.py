"""Where a drill restores: a scratch folder in the data folder, on a disk that is guarded as the data are, and with PostgreSQL a database.

Both are taken away afterwards. What was left when a copy or a drill was killed goes with the next one, or when the server starts.
"""

import logging
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

from sqlalchemy import Engine, make_url, text
from sqlalchemy.exc import DBAPIError

from server.config import Settings
from server.exports import DIGEST_FOLDERS
from server.installation.folders import folder_problem
from server.installation.runtime import Runtime
from server.store.engine import make_engine
from server.store.folder_lock import FolderBusy
from server.store.whole_file import write_whole
from server.trust.backup.manifest import CopyProblem
from server.trust.backup.place import said_plainly

SCRATCH = "drill"
_DATABASE = "database"  # in the scratch folder: the name of the scratch database, written before that is made
_LONGEST = 40  # characters of the clinic's database in that name, of the 63 which PostgreSQL keeps
STOP_MAKING = text(
    "SELECT pg_terminate_backend(pid, 60000) FROM pg_stat_activity WHERE query = :statement AND pid <> pg_backend_pid()"
)
log = logging.getLogger(__name__)


@contextmanager
def scratch_clinic(settings: Settings, keys: Path) -> Iterator[Settings]:
    """Settings of a clinic that is not there yet, with the keys where they lie: no second copy of them is ever made."""
    folder = settings.data / SCRATCH
    data = folder / "clinic"
    problem = folder_problem(folder, "Nothing was proved; the clinic and its copies are as they were")
    if problem:
        raise CopyProblem(problem)
    with said_plainly("nothing was proved; the clinic and its copies are as they were"):
        take_away_leftovers(settings)
        for each in (folder, data):
            each.mkdir(mode=0o700)
        try:
            if make_url(settings.database_url).get_backend_name() == "sqlite":
                scratch_url = f"sqlite:///{data / 'yearmark.sqlite3'}"
                yield replace(settings, data=data, keys=keys, database_url=scratch_url)
            else:
                with _scratch_database(settings.database_url, folder / _DATABASE) as scratch_url:
                    yield replace(settings, data=data, keys=keys, database_url=scratch_url)
        finally:
            shutil.rmtree(folder, ignore_errors=True)


def take_away_unless_in_use(runtime: Runtime) -> None:
    """For a server that starts: beside a copy or a drill that runs, what lies there is theirs."""
    with suppress(FolderBusy), runtime.lock.copying():
        take_away_leftovers(runtime.settings)


def take_away_leftovers(settings: Settings) -> None:
    """Of copies and drills that were killed. Only with the lock `copying`. A database goes only if its name was written down here."""
    note = settings.data / SCRATCH / _DATABASE
    if note.exists():
        name, engine = note.read_text(), _server(settings.database_url)
        try:
            _stop_making(engine, name)
            _drop(engine, name)
        except DBAPIError:
            log.warning(
                "the database %s, left by a drill that was killed, could not be dropped; drop it yourself", name
            )
        finally:
            engine.dispose()
    for left in (settings.data / SCRATCH, *settings.data.glob(f"{DIGEST_FOLDERS}*")):
        shutil.rmtree(left, ignore_errors=True)


@contextmanager
def _scratch_database(address: str, note: Path) -> Iterator[str]:
    url = make_url(address)
    name = f"{(url.database or '')[:_LONGEST]}_drill_{secrets.token_hex(4)}"
    engine = _server(address)
    try:
        write_whole(note, name.encode())
        with engine.connect() as connection:
            connection.execute(text(_make(engine, name)))
        try:
            yield url.set(database=name).render_as_string(hide_password=False)
        finally:
            _drop(engine, name)
    except DBAPIError as problem:
        raise CopyProblem(
            f"no scratch database {name} could be made ({type(problem.orig).__name__}), so nothing was proved. The account needs the "
            "right to make databases: ALTER ROLE … CREATEDB"
        ) from problem
    finally:
        engine.dispose()


def _server(address: str) -> Engine:
    return make_engine(address, None).execution_options(isolation_level="AUTOCOMMIT")


def _make(engine: Engine, name: str) -> str:
    return f"CREATE DATABASE {_quoted(engine, name)}"


def _stop_making(engine: Engine, name: str) -> None:
    """The server goes on making a database when the drill that asked was killed: one that is dropped too early would come after all."""
    with engine.connect() as connection:
        connection.execute(STOP_MAKING, {"statement": _make(engine, name)})


def _drop(engine: Engine, name: str) -> None:
    with engine.connect() as connection:
        connection.execute(text(f"DROP DATABASE IF EXISTS {_quoted(engine, name)} WITH (FORCE)"))


def _quoted(engine: Engine, name: str) -> str:
    return engine.dialect.identifier_preparer.quote_identifier(name)
