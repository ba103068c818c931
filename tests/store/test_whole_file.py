"""A file that is written whole is the old one or the new one, and only its owner reads it."""

import errno
import os
from pathlib import Path

import pytest

from server.store.whole_file import write_whole


def everything_in(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.iterdir()}


def test_what_was_written_is_there_in_folders_that_were_not_and_nobody_else_reads_it(tmp_path: Path) -> None:
    file = tmp_path / "new" / "a.key"
    write_whole(file, b"first")
    write_whole(file, b"second")
    assert everything_in(file.parent) == {"a.key": b"second"}
    assert (file.stat().st_mode & 0o777, file.parent.stat().st_mode & 0o777) == (0o600, 0o700)


@pytest.mark.parametrize("fails", ["fsync", "replace"])
@pytest.mark.parametrize("problem", [OSError(errno.ENOSPC, "full"), KeyboardInterrupt()], ids=["full disk", "stopped"])
def test_what_cannot_be_finished_leaves_the_old_file_and_no_half(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fails: str, problem: BaseException
) -> None:
    file = tmp_path / "a.key"
    write_whole(file, b"first")

    def broken(*_anything: object) -> None:
        raise problem

    with monkeypatch.context() as patched:
        patched.setattr(*{"fsync": (os, "fsync"), "replace": (Path, "replace")}[fails], broken)
        with pytest.raises(type(problem)):
            write_whole(file, b"second")
    assert everything_in(tmp_path) == {"a.key": b"first"}


def test_a_link_stays_one_and_what_it_leads_to_is_written(tmp_path: Path) -> None:
    file, link = tmp_path / "elsewhere" / "a.env", tmp_path / "a.env"
    write_whole(file, b"first")
    link.symlink_to(file)
    write_whole(link, b"second")
    assert link.readlink() == file
    assert (file.read_bytes(), sorted(everything_in(file.parent))) == (b"second", ["a.env"])


def test_the_names_of_all_folders_that_are_new_are_on_the_disk_before_what_lies_in_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file, synced = tmp_path / "keys" / "patient" / "ab" / "a.key", []
    real = os.fsync

    def noted(descriptor: int) -> None:
        folders = (tmp_path, *(each for each in file.parents if each.is_relative_to(tmp_path) and each.exists()))
        found = (each for each in folders if os.path.samestat(os.fstat(descriptor), each.stat()))
        synced.append(next(found, file).name)
        real(descriptor)

    monkeypatch.setattr(os, "fsync", noted)
    write_whole(file, b"first")
    write_whole(file, b"second")
    assert synced == [tmp_path.name, "keys", "patient", "a.key", "ab", "a.key", "ab"]


def test_where_only_the_folder_cannot_be_synced_the_new_file_stands_and_the_writer_hears_of_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "a.key"
    write_whole(file, b"first")
    real = os.fsync

    def broken(descriptor: int) -> None:
        if os.path.samestat(os.fstat(descriptor), tmp_path.stat()):
            raise OSError(errno.EIO, "no")
        real(descriptor)

    monkeypatch.setattr(os, "fsync", broken)
    with pytest.raises(OSError, match="no"):
        write_whole(file, b"second")
    assert everything_in(tmp_path) == {"a.key": b"second"}


def test_nothing_has_the_new_name_before_all_of_it_is_on_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file, its name, its folder: in this order."""
    found: list[tuple[bool, dict[str, bytes]]] = []
    real = os.fsync

    def noted(descriptor: int) -> None:
        is_folder = os.path.samestat(os.fstat(descriptor), tmp_path.stat())
        found.append((is_folder, {name: data for name, data in everything_in(tmp_path).items() if name == "a.key"}))
        real(descriptor)

    monkeypatch.setattr(os, "fsync", noted)
    write_whole(tmp_path / "a.key", b"all of it")
    assert found == [(False, {}), (True, {"a.key": b"all of it"})]
