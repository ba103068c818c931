"""`./run program` beside an environment that somebody has changed with pip; the Python in it is a stand-in that notes what it is told."""

import shutil
import subprocess
from pathlib import Path

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


def told(folder: Path) -> str:
    """What Python was told by one more start."""
    notes = folder / ".venv/told"
    notes.unlink(missing_ok=True)
    subprocess.run([folder / "run", "program"], check=True, capture_output=True, timeout=120)
    return notes.read_text()


def test_what_is_set_up_is_not_set_up_again(folder: Path) -> None:
    assert "--editable" not in told(folder)


def test_a_copy_that_pip_was_told_to_install_gives_way_to_this_folder(folder: Path) -> None:
    """Else an upgrade of the folder would go on running the copy."""
    (folder / ".venv/lib/python3.11/site-packages/server").mkdir(parents=True)
    assert "--no-deps --no-build-isolation --editable" in told(folder)
