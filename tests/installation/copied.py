"""A small clinic that is copied, and empty places to restore it into, on either database. Everybody in it is invented."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
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
from tests.databases import NoPostgreSQL, new_database, shared_server
from tests.stranger import best


@dataclass
class Copied:
    """`folder`: where everything lies; `new_url`: of a new empty database for a data folder."""

    case: Case
    folder: Path
    new_url: Callable[[Path], str]

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


def _sqlite_url(data: Path) -> str:
    return f"sqlite:///{data / 'yearmark.sqlite3'}"


@pytest.fixture(params=["sqlite", "postgresql"])
def copied(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Copied]:
    """Two patients, one of whom has answered; on SQLite and on PostgreSQL."""
    with ExitStack() as stack:
        yield make_copied(request.param, tmp_path, stack)


@pytest.fixture
def on_sqlite(tmp_path: Path) -> Iterator[Copied]:
    with ExitStack() as stack:
        yield make_copied("sqlite", tmp_path, stack)


def make_copied(kind: str, folder: Path, stack: ExitStack) -> Copied:
    def new_postgresql(_data: Path) -> str:
        return stack.enter_context(new_database(shared_server()))

    new_url = _sqlite_url if kind == "sqlite" else new_postgresql
    data = folder / "clinic"
    data.mkdir()
    try:
        case = make_case(new_url(data), data)
    except NoPostgreSQL as missing:
        pytest.skip(f"PostgreSQL: {missing}")
    stack.callback(case.store.engine.dispose)
    with case.store.engine.begin() as connection:  # made from the models, so nothing says of which version it is
        connection.execute(text("CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL PRIMARY KEY)"))
        connection.execute(text("INSERT INTO alembic_version VALUES (:head)"), {"head": revisions()[-1]})
    answer(case, case.enrol())
    case.enrol(first_name="Ben", last_name="Birch")
    return Copied(case, folder, new_url)


def answer(case: Case, patient_id: int) -> None:
    """The patient's phone sends the first form, and it is recorded."""
    phone = case.phone(patient_id)
    phone.fetch()
    case.now += timedelta(minutes=5)
    [receipt] = phone.send(phone.seal(phone.payload(phone.sheet["forms"][0], best, case.now)))
    assert receipt["status"] == "stored"
    assert case.process().recorded == 1
