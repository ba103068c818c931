"""`./run program` beside an environment that somebody has changed with pip; the Python in it is a stand-in that notes what it is told."""

import shutil
import subprocess
from pathlib import Path
from tempfile import gettempdir

import pytest

from tests.structure.tree import ROOT


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """What `./run` reads, with everything set up by a first start."""
    shutil.copy(ROOT / "run", tmp_path)
    for name in ("pyproject.toml", "requirements.lock.txt", "requirements-test.lock.txt"):
        (tmp_path / name).write_text(name)
    (tmp_path / "server/words/catalogues").mkdir(parents=True)
    programs = tmp_path / ".venv/bin"
    programs.mkdir(parents=True)
    for name in ("python", "yearmark"):
        (programs / name).write_text('#!/bin/sh\necho "$@" >>"${0%/bin/*}/told"\n')
        (programs / name).chmod(0o700)
    assert "--editable" in told(tmp_path)
    return tmp_path


def start(folder: Path) -> str:
    done = subprocess.run([folder / "run", "program"], check=True, capture_output=True, timeout=120)
    return done.stdout.decode()


def told(folder: Path) -> str:
    """What Python was told by one more start."""
    notes = folder / ".venv/told"
    notes.unlink(missing_ok=True)
    start(folder)
    return notes.read_text()


def open_the_way(folder: Path) -> None:
    """Whatever a command of another test has taken away from the rights of new files."""
    inner = (folder / ".venv", *(folder / ".venv").rglob("*"))
    for each in (*inner, folder, *folder.parents):
        if each.is_relative_to(gettempdir()) and each.stat().st_mode & 0o001 == 0:
            each.chmod(0o755)


def test_what_is_set_up_is_not_set_up_again(folder: Path) -> None:
    assert "--editable" not in told(folder)


def test_a_copy_that_pip_was_told_to_install_gives_way_to_this_folder(folder: Path) -> None:
    """Else an upgrade of the folder would go on running the copy."""
    (folder / ".venv/lib/python3.11/site-packages/server").mkdir(parents=True)
    assert "--no-deps --no-build-isolation --editable" in told(folder)


def test_a_folder_that_other_accounts_do_not_see_is_named(folder: Path) -> None:
    open_the_way(folder)
    assert "Other accounts" not in start(folder)
    (folder / ".venv").chmod(0o700)
    assert f"Other accounts cannot run it: {folder}/.venv is closed to them" in start(folder)


def test_a_python_that_other_accounts_do_not_see_is_named_with_how_to_take_another(folder: Path) -> None:
    open_the_way(folder)
    hidden, python = folder / "root", folder / ".venv/bin/python"
    hidden.mkdir(mode=0o700)
    python.rename(hidden / "python3")
    python.symlink_to("../../root/python3")
    (hidden / "python3").write_text(f'#!/bin/sh\necho "$@" >>{folder}/.venv/told\n')
    (hidden / "python3").chmod(0o755)
    said = start(folder)
    assert f"its Python {hidden}/python3" in said
    assert f"of its Python {hidden} is closed to them" in said and f"rm -r {folder}/.venv; PATH=/usr/sbin:" in said
