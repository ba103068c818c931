"""An empty folder, and one in which a live clinic was set up."""

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


@pytest.fixture
def live(shell: Shell) -> Shell:
    """A live clinic whose mail goes to the folder."""
    shell.environment.update(MAIL)
    assert shell.clinic().exit_code == 0
    return shell


@pytest.fixture
def demo(shell: Shell) -> Shell:
    """A demo's clinic, without anybody in it."""
    runtime = shell.runtime()
    migrate(runtime)
    with runtime.store.writing() as session:
        set_up_clinic(session, demo_entry("http://127.0.0.1:8017"), runtime.keys, now=runtime.real_clock())
    runtime.store.engine.dispose()
    return shell


@pytest.fixture
def inside(shell: Shell) -> Iterator[Runtime]:
    """The folder's content, opened when the test begins: ask for it after `live` or `demo`."""
    runtime = shell.runtime()
    yield runtime
    runtime.store.engine.dispose()
