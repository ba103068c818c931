"""Upgrade and rollback in the steps of server/recipes/README.md, from a database of the migration before the newest."""

import re
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from server.store.migrate import current_revision
from tests.cli.shell import CLINIC, Shell, refusal
from tests.structure.tree import ROOT
from tests.version_before import BEFORE, NEWEST, left_by_the_version_before

RECIPES = ROOT / "server" / "recipes" / "README.md"


@pytest.fixture(scope="module")
def old_database(live_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    database = tmp_path_factory.mktemp("before") / "yearmark.sqlite3"
    left_by_the_version_before(live_folder / "yearmark.sqlite3", database)
    return database


@pytest.fixture
def old(live: Shell, old_database: Path) -> Shell:
    shutil.copy(old_database, live.data / "yearmark.sqlite3")
    return live


def revision(shell: Shell) -> str | None:
    runtime = shell.runtime()
    found = current_revision(runtime.store.engine)
    runtime.store.engine.dispose()
    return found


def clinic_name(shell: Shell) -> str:
    with closing(sqlite3.connect(shell.data / "yearmark.sqlite3")) as connection:
        return str(connection.execute("SELECT name FROM clinic").fetchone()[0])


def test_an_upgrade_asks_for_the_migration_and_then_works(old: Shell) -> None:
    for command in ("serve", "tick"):
        assert "an earlier version of Yearmark has written this database; run `yearmark migrate` first" in refusal(
            old.on_data(command)
        )
    assert revision(old) == BEFORE
    assert "up to date" in old.on_data("migrate").output
    assert (revision(old), clinic_name(old)) == (NEWEST, CLINIC["--name"])
    assert "The database answers, and is of this version." in old.on_data("check").output
    assert old.on_data("tick").exit_code == 0


def test_no_step_of_an_upgrade_sends_anything_before_the_server_is_started_and_looked_at() -> None:
    upgrade_steps = RECIPES.read_text(encoding="utf-8").split("## Upgrade")[1].split("\n## ")[0]
    assert re.findall(r"`(yearmark \S+|systemctl \S+)", upgrade_steps) == [
        "systemctl stop",
        "yearmark backup",
        "yearmark migrate",
        "yearmark check",
        "systemctl start",
    ]


def upgraded_by_a_later_version(shell: Shell) -> None:
    """This version is the old one here: a later one has brought the database to a schema that it does not know."""
    with closing(sqlite3.connect(shell.data / "yearmark.sqlite3")) as connection:
        connection.execute("CREATE TABLE of_a_later_version (id INTEGER PRIMARY KEY) STRICT")
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()


def test_the_old_version_refuses_an_upgraded_database_and_goes_on_with_the_copy_made_before(
    live: Shell, tmp_path: Path
) -> None:
    keys = live.data.with_name("data-keys")
    (live.data / "keys").rename(keys)
    live.environment["YEARMARK_KEYS"] = str(keys)
    assert live.on_data("backup", "--to", str(tmp_path / "copies")).exit_code == 0
    (copy,) = (tmp_path / "copies").iterdir()
    upgraded_by_a_later_version(live)
    for command in ("serve", "migrate"):
        assert "a newer version of Yearmark has written this database" in refusal(live.on_data(command))

    aside = live.data.rename(live.data.with_name("data.after"))
    live.data.mkdir()
    assert "is restored" in live.run("restore", str(copy), "--data", str(live.data)).output
    assert (revision(live), clinic_name(live)) == (NEWEST, CLINIC["--name"])
    assert live.on_data("tick").exit_code == 0
    assert (aside / "yearmark.sqlite3").exists()
    with closing(sqlite3.connect(live.data / "yearmark.sqlite3")) as connection:
        assert connection.execute("SELECT released_at FROM restoration").fetchall() == [(None,)]
