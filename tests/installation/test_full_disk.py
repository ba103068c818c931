"""Copying onto a disk that is full, and restoring onto one: a sentence says what is safe and what to do, and nothing half done is left."""

import os
import resource
import shutil
import signal
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import psycopg
import pytest

from server.config import read_settings
from server.installation.backup import Copy, copy_data, copy_keys
from server.installation.restore import Wanted, restore
from server.trust.backup.manifest import CopyProblem
from server.trust.backup.place import finished_copies, verify
from tests.clinic_case import NOW
from tests.databases import Server, unprivileged_user
from tests.installation.copied import Copied, make_copied, on_sqlite, server_for
from tests.installation.killed import NEVER, Step, run_and_die
from tests.installation.killed_commands import Unharmed, is_restored
from tests.small_disk import small_disk

__all__ = ["on_sqlite"]

MAKE_ROOM = "Make room there, then give the same command again"


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def clinic(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Copied]:
    with ExitStack() as stack:
        yield make_copied(server_for(request.param), tmp_path_factory.mktemp("full"), stack)


def fill(disk: Path, leaving: int) -> None:
    """All of the disk but so many bytes."""
    room = shutil.disk_usage(disk).free - leaving
    (disk / "filler").write_bytes(b"\0" * room)


def test_a_copy_onto_a_full_disk_is_not_made_and_the_earlier_one_stays(clinic: Copied, tmp_path: Path) -> None:
    unharmed = Unharmed(clinic)
    with small_disk(tmp_path / "disk", 64_000) as disk:
        place = disk / "copies"
        earlier = copy_data(clinic.runtime, place)
        fill(disk, leaving=earlier.manifest.length // 2)
        with pytest.raises(CopyProblem) as problem:
            copy_data(clinic.runtime, place)
        assert str(problem.value) == (
            f"the disk is full; no copy was made in {place}. The clinic and its earlier copies are as they were. {MAKE_ROOM}"
        )
        assert [each.name for each in place.iterdir()] == [earlier.folder.name]
        unharmed.check()
        (disk / "filler").unlink()
        copy_data(clinic.runtime, place)
        assert len([verify(folder) for folder, _ in finished_copies(place)]) == 2


def test_a_copy_of_the_keys_onto_a_full_disk_is_not_made(clinic: Copied, tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", 1000) as disk:
        fill(disk, leaving=0)
        with pytest.raises(CopyProblem, match=f"the disk is full; no copy was made.*are as they were. {MAKE_ROOM}"):
            copy_keys(clinic.runtime, disk / "keys")
        assert list((disk / "keys").iterdir()) == []
        (disk / "filler").unlink()
        assert len(copy_keys(clinic.runtime, disk / "keys").manifest.files) == 4


def test_when_the_clinics_own_disk_is_full_the_copy_is_whole_and_it_is_said_that_nobody_noted_it(
    tmp_path: Path,
) -> None:
    with small_disk(tmp_path / "disk", 64_000) as disk, ExitStack() as stack:
        clinic, place = make_copied(None, disk, stack), tmp_path / "elsewhere"
        fill(disk, leaving=0)
        with pytest.raises(CopyProblem, match=r"is whole and stays, .* could not note it: its disk is full"):
            copy_data(clinic.runtime, place)
        [(folder, manifest)] = finished_copies(place)
        assert verify(folder) == manifest
        (disk / "filler").unlink()
        copy_data(clinic.runtime, place)


@pytest.mark.parametrize("share", [0.1, 1.02], ids=["in the middle of the database", "after it"])
def test_a_restore_onto_a_full_disk_leaves_the_folder_empty_and_goes_when_there_is_room(
    on_sqlite: Copied, tmp_path: Path, share: float
) -> None:
    data, wanted = a_copy(on_sqlite)
    with small_disk(tmp_path / "disk", 64_000) as disk:
        machine = read_settings({}, data=disk / "clinic")
        fill(disk, leaving=int(data.manifest.length * share))
        with pytest.raises(CopyProblem, match=rf"full; nothing was restored: .* is empty\. The copy is.*{MAKE_ROOM}"):
            restore(machine, wanted, now=NOW)
        assert [each.name for each in machine.data.iterdir()] == ["locks"]
        (disk / "filler").unlink()
        restore(machine, wanted, now=NOW)
        assert is_restored(machine, data)


def test_where_no_disk_can_be_mounted_a_file_that_may_not_grow_stands_for_one_that_is_full(on_sqlite: Copied) -> None:
    data, wanted = a_copy(on_sqlite)
    machine = on_sqlite.new_machine("small disk")

    def work(_step: Step) -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        limit = int(data.manifest.length * 0.6)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        with pytest.raises(CopyProblem, match=r"the disk is full; nothing was restored"):
            restore(machine, wanted, now=NOW)

    assert run_and_die(work, NEVER) > 0
    assert [each.name for each in machine.data.iterdir()] == ["locks"]


@pytest.mark.parametrize("clinic", ["postgresql"], indirect=True)
def test_a_restore_into_a_database_whose_disk_is_full_leaves_it_empty_and_goes_when_there_is_room(
    clinic: Copied, tmp_path: Path
) -> None:
    assert clinic.server is not None
    data, wanted = a_copy(clinic)
    with database_on_a_small_disk(clinic.server) as (url, disk):
        machine = read_settings({"YEARMARK_DATABASE_URL": url}, data=tmp_path / "clinic")
        fill(disk, leaving=500_000)
        with pytest.raises(CopyProblem, match=f"the disk of the database is full; nothing was loaded.*{MAKE_ROOM}"):
            restore(machine, wanted, now=NOW)
        assert [each.name for each in machine.data.iterdir()] == ["locks"]
        assert not is_restored(machine, data)
        (disk / "filler").unlink()
        restore(machine, wanted, now=NOW)
        assert is_restored(machine, data)


def a_copy(copied: Copied) -> tuple[Copy, Wanted]:
    data, keys = copied.data(), copied.keys()
    return data, Wanted(data.folder, keys.folder)


@contextmanager
def database_on_a_small_disk(server: Server) -> Iterator[tuple[str, Path]]:
    """Its tables lie on that disk alone. In the server's own folder, since its account may enter no other."""
    with small_disk(server.folder / "small-disk", 64_000) as disk:
        tables = disk / "tables"
        tables.mkdir()
        for each in (disk, tables):
            os.chown(each, unprivileged_user().pw_uid, -1)
        with psycopg.connect(server.url("postgres"), autocommit=True) as connection:
            connection.execute(f"CREATE TABLESPACE small_disk LOCATION '{tables}'")
            connection.execute("CREATE DATABASE on_a_small_disk TABLESPACE small_disk")
            yield server.url("on_a_small_disk"), disk
            connection.execute("DROP DATABASE on_a_small_disk WITH (FORCE)")
            connection.execute("DROP TABLESPACE small_disk")
    disk.rmdir()
