"""An empty folder, and one in which a live clinic was set up."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from server.demo.seed import demo_entry
from server.installation.runtime import Runtime
from server.installation.set_up import migrate, set_up_clinic
from tests.cli.shell import MAIL, Shell


@pytest.fixture
def shell(tmp_path: Path) -> Shell:
    return Shell(tmp_path / "data")


@pytest.fixture(scope="session")
def live_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A live clinic whose mail goes to the folder, as the command sets it up. Read only: every test has a copy."""
    made = Shell(tmp_path_factory.mktemp("live") / "data", dict(MAIL))
    assert made.clinic().exit_code == 0
    return made.data


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A demo's clinic, without anybody in it. Read only."""
    made = Shell(tmp_path_factory.mktemp("demo") / "data")
    runtime = made.runtime()
    migrate(runtime)
    with runtime.store.writing() as session:
        set_up_clinic(session, demo_entry("http://127.0.0.1:8017"), runtime.keys, now=runtime.real_clock())
    runtime.store.engine.dispose()
    return made.data


@pytest.fixture
def live(shell: Shell, live_folder: Path) -> Shell:
    shutil.copytree(live_folder, shell.data)
    shell.environment.update(MAIL)
    return shell


@pytest.fixture
def demo(shell: Shell, demo_folder: Path) -> Shell:
    shutil.copytree(demo_folder, shell.data)
    return shell


@pytest.fixture
def inside(shell: Shell) -> Iterator[Runtime]:
    """The folder's content, opened when the test begins: ask for it after `live` or `demo`."""
    runtime = shell.runtime()
    yield runtime
    runtime.store.engine.dispose()
