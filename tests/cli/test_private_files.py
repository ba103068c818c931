"""What Yearmark writes only its own account may read, also in folders that were made beforehand; and keys may lie elsewhere."""

import logging
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import select

from server.models import Clinic
from tests.cli.shell import MAIL, Shell, refusal

OTHERS = 0o077


@pytest.fixture(autouse=True)
def usual_umask() -> Iterator[None]:
    before = os.umask(0o022)
    yield
    os.umask(before)


def open_to_others(*folders: Path) -> list[str]:
    found = [path for folder in folders for path in (folder, *folder.rglob("*"))]
    assert len(found) > len(folders), "nothing was written"
    return [str(path) for path in found if path.stat().st_mode & OTHERS]


def loosen(folder: Path) -> None:
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)


@pytest.fixture
def beforehand(shell: Shell) -> Shell:
    """A live clinic in a folder that was there already, open to all."""
    shell.environment.update(MAIL)
    shell.data.mkdir(mode=0o755)
    assert shell.clinic().exit_code == 0
    return shell


def test_everything_that_a_clinic_consists_of_is_its_owner_s_alone(beforehand: Shell) -> None:
    assert beforehand.on_data("tick").exit_code == 0
    there = {path.name for path in beforehand.data.iterdir()}
    assert {"yearmark.sqlite3", "keys", "locks"} <= there
    assert open_to_others(beforehand.data) == []


def test_the_journals_of_an_open_database_are_too(beforehand: Shell) -> None:
    runtime = beforehand.runtime()
    with runtime.store.reading() as session:
        session.scalar(select(Clinic.mode))
        assert {"yearmark.sqlite3-wal", "yearmark.sqlite3-shm"} <= {path.name for path in beforehand.data.iterdir()}
        assert open_to_others(beforehand.data) == []
    runtime.store.engine.dispose()


def test_looser_modes_are_mended_at_the_next_start_and_said_in_the_log(
    beforehand: Shell, caplog: pytest.LogCaptureFixture
) -> None:
    mailbox = beforehand.data / "mailbox"
    mailbox.mkdir()
    (mailbox / "a message.eml").touch()
    loosen(beforehand.data)
    with caplog.at_level(logging.WARNING):
        assert beforehand.on_data("tick").exit_code == 0
    assert open_to_others(beforehand.data) == []
    (said,) = [record.message for record in caplog.records if "others could read" in record.message]
    assert str(beforehand.data) in said


def test_what_is_not_ours_in_the_folder_is_left_as_it_is(beforehand: Shell) -> None:
    foreign = beforehand.data / "notes.txt"
    foreign.touch()
    foreign.chmod(0o644)
    assert beforehand.on_data("tick").exit_code == 0
    assert foreign.stat().st_mode & 0o777 == 0o644


@pytest.mark.parametrize("command", ["serve", "tick", "migrate"])
def test_modes_that_cannot_be_mended_are_refused_in_a_sentence(
    beforehand: Shell, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    key = next((beforehand.data / "keys").rglob("*.pem"))
    key.chmod(0o640)

    def not_the_owner(_path: Path, _mode: int) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "chmod", not_the_owner)
    said = refusal(beforehand.on_data(command))
    assert f"{key} can be read by others and belongs to another account" in said


@pytest.mark.parametrize("command", ["serve", "tick"])
def test_a_file_system_that_does_not_keep_modes_is_refused_in_a_sentence(
    beforehand: Shell, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, command: str
) -> None:
    key = next((beforehand.data / "keys").rglob("*.pem"))
    key.chmod(0o640)
    monkeypatch.setattr(Path, "chmod", lambda _path, _mode: None)  # answers as if it had done it
    with caplog.at_level(logging.WARNING):
        said = refusal(beforehand.on_data(command))
    assert f"{key} can be read by others: the file system it lies on does not keep modes" in said
    assert "no longer can" not in caplog.text


def test_an_export_is_private_also_where_an_earlier_one_was_not(beforehand: Shell, tmp_path: Path) -> None:
    out = tmp_path / "files"
    out.mkdir(mode=0o755)
    assert beforehand.on_data("export", "--out", str(out)).exit_code == 0
    assert open_to_others(out) == []
    loosen(out)
    assert beforehand.on_data("export", "--out", str(out)).exit_code == 0
    assert open_to_others(out) == []


def test_a_database_that_lies_elsewhere_is_private_too(shell: Shell, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir(mode=0o700)
    database = elsewhere / "clinic.sqlite3"
    shell.environment.update(MAIL, YEARMARK_DATABASE_URL=f"sqlite:///{database}")
    assert shell.clinic().exit_code == 0
    database.chmod(0o644)
    assert shell.on_data("tick").exit_code == 0
    assert open_to_others(elsewhere) == []


def test_keys_elsewhere_leave_a_copied_data_folder_unreadable(shell: Shell, tmp_path: Path) -> None:
    keys = tmp_path / "on another disk"
    keys.mkdir(mode=0o755)  # made and mounted by somebody else, still empty
    shell.environment.update(MAIL, YEARMARK_KEYS=str(keys))
    assert shell.clinic().exit_code == 0
    assert shell.on_data("tick").exit_code == 0
    assert not (shell.data / "keys").exists()
    assert open_to_others(keys) == []
    copied = Shell(tmp_path / "copied", dict(MAIL))
    shutil.copytree(shell.data, copied.data)
    assert "let YEARMARK_KEYS name where it lies" in refusal(copied.on_data("serve"))
    assert not copied.runtime().store.ring.keys
