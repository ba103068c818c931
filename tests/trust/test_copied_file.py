"""One file of a copy: the same bytes, and read by nobody else at any instant."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from server.trust.backup.place import copy_file


@pytest.fixture
def lenient() -> Iterator[None]:
    """A machine that lets everybody read what is made, unless it is said otherwise."""
    before = os.umask(0)
    yield
    os.umask(before)


@pytest.mark.usefixtures("lenient")
def test_neither_it_nor_a_folder_made_for_it_can_be_read_by_others_while_it_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source, target = tmp_path / "source", tmp_path / "keys" / "patients" / "1"
    source.write_bytes(b"key")
    modes: dict[str, int] = {}
    write = shutil.copyfileobj

    def looked_at(opened: object, written: object) -> None:
        modes.update({each.name: each.stat().st_mode & 0o777 for each in (target, *target.parents[:2])})
        write(opened, written)  # type: ignore[arg-type]

    monkeypatch.setattr(shutil, "copyfileobj", looked_at)
    copy_file(source, target)
    assert modes == {"1": 0o600, "patients": 0o700, "keys": 0o700} and target.read_bytes() == b"key"
