"""A small clinic that is copied, and empty places to restore it into, on either database. Everybody in it is invented."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import text

from server.config import Settings, read_settings
from server.installation.backup import Copy, copy_data, copy_keys
from server.installation.runtime import Runtime, open_runtime
from server.store.migrate import revisions
from tests.clinic_case import Case, make_case
from tests.databases import NoPostgreSQL, Server, new_database, shared_server
from tests.stranger import best


@dataclass
class Copied:
    """`folder`: where everything lies; `server`: None for SQLite; at the end of `stack` go the databases that were made."""

    case: Case
    folder: Path
    server: Server | None
    stack: ExitStack

    @contextmanager
    def for_a_while(self) -> Iterator[None]:
        """The databases of machines that are new within it go at its end."""
        outer = self.stack
        with ExitStack() as self.stack:
            yield
        self.stack = outer

    def new_url(self, data: Path) -> str:
        """Of a new empty database for a data folder."""
        return new_url(self.server, data, self.stack)

    @property
    def runtime(self) -> Runtime:
        return self.case.runtime

    def data(self, place: str = "copies") -> Copy:
        return copy_data(self.runtime, self.folder / place)

    def keys(self, place: str = "keys-elsewhere") -> Copy:
        return copy_keys(self.runtime, self.folder / place)

    def new_machine(self, name: str) -> Settings:
        """Settings of a machine on which nothing is yet."""
        data = self.folder / name
        return read_settings({"YEARMARK_DATABASE_URL": self.new_url(data)}, data=data)


def opened(settings: Settings) -> Runtime:
    """Dispose of `store.engine` at the end."""
    return open_runtime(settings)


def new_url(server: Server | None, data: Path, stack: ExitStack) -> str:
    if server is None:
        return f"sqlite:///{data / 'yearmark.sqlite3'}"
    return stack.enter_context(new_database(server))


def server_for(kind: str) -> Server | None:
    """Of this test run; None for SQLite. Skips without one."""
    try:
        return None if kind == "sqlite" else shared_server()
    except NoPostgreSQL as missing:
        pytest.skip(f"PostgreSQL: {missing}")


@pytest.fixture(params=["sqlite", "postgresql"])
def copied(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Copied]:
    """Two patients, one of whom has answered; on SQLite and on PostgreSQL."""
    with ExitStack() as stack:
        yield make_copied(server_for(request.param), tmp_path, stack)


@pytest.fixture
def on_sqlite(tmp_path: Path) -> Iterator[Copied]:
    with ExitStack() as stack:
        yield make_copied(None, tmp_path, stack)


def make_copied(server: Server | None, folder: Path, stack: ExitStack) -> Copied:
    data = folder / "clinic"
    data.mkdir()
    case = make_case(new_url(server, data, stack), data)
    stack.callback(case.store.engine.dispose)
    with case.store.engine.begin() as connection:  # made from the models, so nothing says of which version it is
        connection.execute(text("CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL PRIMARY KEY)"))
        connection.execute(text("INSERT INTO alembic_version VALUES (:head)"), {"head": revisions()[-1]})
    answer(case, case.enrol())
    case.enrol(first_name="Ben", last_name="Birch")
    return Copied(case, folder, server, stack)


def answer(case: Case, patient_id: int) -> None:
    """The patient's phone sends the first form, and it is recorded."""
    phone = case.phone(patient_id)
    phone.fetch()
    case.now += timedelta(minutes=5)
    [receipt] = phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now)))
    assert receipt["status"] == "stored"
    assert case.process().recorded == 1
