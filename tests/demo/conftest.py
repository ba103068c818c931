"""An invented clinic, seeded once for a process and copied for each test that changes it."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from server.exports import export_set
from server.installation.runtime import Runtime
from tests.demo.play import Demo, make_demo, open_again


@pytest.fixture(scope="session")
def seeded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    """Read only: whoever writes asks for `demo`."""
    made = make_demo(tmp_path_factory.mktemp("demo") / "data")
    yield made
    made.runtime.store.engine.dispose()


@pytest.fixture(scope="session")
def demo_files(seeded: Demo, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The exported files of the seeded clinic. Read only."""
    machine, out = seeded.runtime, tmp_path_factory.mktemp("files") / "set"
    export_set(machine.store, machine.keys.patient_cipher, machine.library, out, now=machine.now())
    return out


@pytest.fixture
def demo(seeded: Demo, tmp_path: Path) -> Iterator[Demo]:
    """A copy of the seeded folder."""
    shutil.copytree(seeded.folder, tmp_path / "data")
    made = Demo(open_again(tmp_path / "data"), seeded.content)
    yield made
    made.runtime.store.engine.dispose()


@pytest.fixture
def again() -> Iterator[Callable[[Path], Runtime]]:
    """Opens a folder as the next start of the program would; closed at the end."""
    opened: list[Runtime] = []

    def open_one(folder: Path) -> Runtime:
        opened.append(open_again(folder))
        return opened[-1]

    yield open_one
    for each in opened:
        each.store.engine.dispose()
