"""What goes on by itself when a restore or a drill on PostgreSQL was killed: the next one waits for it, or ends it, first."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from threading import Event
from time import monotonic

import psycopg
import pytest
from sqlalchemy import make_url

from server.installation.drill import drill
from server.installation.restore import Wanted, restore
from server.installation.scratch import SCRATCH, take_away_leftovers
from server.store.folder_lock import FolderLock, _locked
from tests.clinic_case import NOW
from tests.databases import Server
from tests.installation.copied import Copied, make_copied, server_for
from tests.installation.killed_commands import is_restored


@pytest.fixture(scope="module")
def clinic(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Copied, Server]]:
    server = server_for("postgresql")
    assert server is not None
    with ExitStack() as stack:
        yield make_copied(server, tmp_path_factory.mktemp("outlives"), stack), server


def test_the_next_restore_waits_for_a_program_that_still_loads_for_one_that_was_killed(
    clinic: tuple[Copied, Server], monkeypatch: pytest.MonkeyPatch
) -> None:
    copied, _server = clinic
    data, keys, machine = copied.data(), copied.keys(), copied.new_machine("new")
    (machine.data / "locks").mkdir(parents=True)
    with FolderLock(machine.data).loading() as held:
        loads = subprocess.Popen(
            [sys.executable, "-c", "input()"], stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, pass_fds=(held,)
        )
    asked = Event()

    def locked(path: str, how: int = 0) -> int:
        if path.endswith("loading"):
            asked.set()
        return _locked(path, how)

    monkeypatch.setattr("server.store.folder_lock._locked", locked)
    with ThreadPoolExecutor() as pool:
        restoring = pool.submit(restore, machine, Wanted(data.folder, keys.folder), now=NOW)
        assert asked.wait(timeout=120)
        assert not restoring.done()
        assert list(machine.data.iterdir()) == [machine.data / "locks"]
        loads.communicate(b"\n")
        restoring.result(timeout=120)
    assert is_restored(machine, data)


def waiting_for_a_lock(connection: psycopg.Connection, statement: str, seconds: float = 120) -> list[str]:
    """Statements that begin so and wait, as the server tells it; asks until there is one, and after `seconds` tells of none."""
    ends = monotonic() + seconds
    while monotonic() < ends:
        rows = connection.execute(
            "SELECT query FROM pg_stat_activity WHERE starts_with(query, %s) AND wait_event_type = 'Lock'", [statement]
        )
        found = [query for (query,) in rows]
        if found:
            return found
    return []


def test_the_look_for_a_statement_that_waits_ends_where_there_is_none(clinic: tuple[Copied, Server]) -> None:
    _copied, server = clinic
    with psycopg.connect(server.url("postgres"), autocommit=True) as asking:
        assert waiting_for_a_lock(asking, "DROP DATABASE IF EXISTS nobody_drops_this", seconds=0.1) == []


def test_a_scratch_database_that_was_being_made_when_its_drill_was_killed_does_not_come_after_all(
    clinic: tuple[Copied, Server],
) -> None:
    copied, server = clinic
    copied.data("copies to try"), copied.keys("keys to try")
    settings = copied.runtime.settings
    copied.case.store.engine.dispose()
    with (
        psycopg.connect(server.url("postgres")) as holding,
        psycopg.connect(server.url("postgres"), autocommit=True) as asking,
        ThreadPoolExecutor() as pool,
    ):
        holding.execute("LOCK TABLE pg_database IN SHARE MODE")  # nobody makes or drops a database meanwhile
        child = os.fork()
        if not child:
            drill(copied.runtime, None, None)
            os._exit(1)
        [made] = waiting_for_a_lock(asking, f'CREATE DATABASE "{make_url(settings.database_url).database}_drill_')
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        taking_away = pool.submit(take_away_leftovers, settings)
        name = made.split('"')[1]
        assert waiting_for_a_lock(asking, f'DROP DATABASE IF EXISTS "{name}"') != []
        holding.rollback()
        taking_away.result(timeout=60)
        assert asking.execute("SELECT 1 FROM pg_database WHERE datname = %s", [name]).fetchall() == []
        assert asking.execute("SELECT 1 FROM pg_stat_activity WHERE query = %s", [made]).fetchall() == []
    assert not (settings.data / SCRATCH).exists()
