"""Copying and restoring, killed with SIGKILL at points spread over all that is opened, renamed, made, removed or asked of the database.

Whatever the instant: a copy is whole or nobody takes it for one, a restored folder is whole or says that it is not, and the same command
once more comes to the end.
"""

import os
import resource
import signal
import sys
from collections.abc import Callable
from itertools import count
from typing import Any

import pytest
from sqlalchemy import Engine, event

from server.config import Settings
from server.installation.restore import Wanted, restore
from server.installation.set_up import RESTORE_UNFINISHED, NotReady, check_ready
from server.queries.restored import waits_for_release
from server.trust.backup.manifest import CopyProblem
from server.trust.backup.place import UNFINISHED, finished_copies, verify
from tests.clinic_case import NOW
from tests.installation.copied import Copied, on_sqlite, opened

__all__ = ["on_sqlite"]

POINTS = 8
WRITES = {"open", "os.rename", "os.mkdir", "os.remove", "os.rmdir", "shutil.copyfile", "sqlite3.connect"}
NEVER = 10**9


def run_and_die(work: Callable[[], object], kill_at: int) -> int:
    """Runs `work` in a process of its own, killed before its `kill_at`-th step; how many steps there were, or -1 when killed."""
    reading_end, writing_end = os.pipe()
    child = os.fork()
    if not child:
        _in_child(work, kill_at, writing_end)
    os.close(writing_end)
    with os.fdopen(reading_end) as said:
        steps = said.read()
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        assert os.WTERMSIG(status) == signal.SIGKILL
        return -1
    assert os.WEXITSTATUS(status) == 0
    return int(steps)


def _in_child(work: Callable[[], object], kill_at: int, writing_end: int) -> None:
    steps = count(1)

    def step(*_details: Any) -> None:
        if next(steps) == kill_at:
            os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(lambda name, _details: step() if name in WRITES else None)
    for name in ("before_cursor_execute", "commit"):
        event.listen(Engine, name, step)
    try:
        work()
        os.write(writing_end, str(next(steps) - 1).encode())
        os._exit(0)
    except BaseException:
        os._exit(1)


def spread_over(steps: int) -> list[int]:
    return sorted({1 + number * (steps - 1) // (POINTS - 1) for number in range(POINTS)})


def test_a_copy_that_is_killed_is_whole_or_not_there(on_sqlite: Copied) -> None:
    place = on_sqlite.folder / "copies"

    def work() -> None:
        on_sqlite.runtime.store.engine.dispose(close=False)
        on_sqlite.data()

    steps = run_and_die(work, NEVER)
    killed = 0
    for kill_at in spread_over(steps):
        before = len(list(finished_copies(place)))
        killed += run_and_die(work, kill_at) == -1
        copies = list(finished_copies(place))
        assert len(copies) - before in (0, 1)
        assert [verify(folder) for folder, _ in copies] == [manifest for _, manifest in copies]
    assert killed >= POINTS - 1
    made = on_sqlite.data()
    assert [each.name for each in place.iterdir() if each.name.startswith(UNFINISHED)] == []
    assert verify(made.folder) == made.manifest


def is_whole(settings: Settings) -> bool:
    """Whether a server would start on it. Then it knows that it was restored; else it is empty, or says that it is unfinished."""
    if not (settings.data / "yearmark.sqlite3").exists():
        return False
    runtime = opened(settings)
    try:
        check_ready(runtime)
        with runtime.store.reading() as session:
            assert waits_for_release(session) is not None
        return True
    except NotReady as problem:
        assert "begun and not finished" in str(problem)
        return False
    finally:
        runtime.store.engine.dispose()


def test_a_restore_that_is_killed_is_whole_or_says_so_and_is_begun_anew(on_sqlite: Copied) -> None:
    wanted = Wanted(on_sqlite.data().folder, on_sqlite.keys().folder)
    steps = run_and_die(lambda: restore(on_sqlite.new_machine("undisturbed"), wanted, now=NOW), NEVER)
    killed = 0
    for kill_at in spread_over(steps):
        machine = on_sqlite.new_machine(f"killed at {kill_at}")
        killed += run_and_die(lambda settings=machine: restore(settings, wanted, now=NOW), kill_at) == -1  # type: ignore[misc]
        if not is_whole(machine):
            restore(machine, wanted, now=NOW)
        assert is_whole(machine)
        assert not (machine.data / RESTORE_UNFINISHED).exists()
    assert killed >= POINTS - 1


@pytest.mark.parametrize("share", [0.1, 0.6])
def test_on_a_full_disk_nothing_is_restored_and_the_folder_is_as_before(on_sqlite: Copied, share: float) -> None:
    """The limit of the operating system on the size of a file stands for a disk that is full in the middle of the database."""
    data, keys, machine = on_sqlite.data(), on_sqlite.keys(), on_sqlite.new_machine("small disk")

    def work() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        limit = int(data.manifest.length * share)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        with pytest.raises(CopyProblem, match=r"the disk is full; nothing was restored"):
            restore(machine, Wanted(data.folder, keys.folder), now=NOW)

    assert run_and_die(work, NEVER) > 0
    assert [each.name for each in machine.data.iterdir()] == ["locks"]
