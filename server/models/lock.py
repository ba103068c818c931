"""The data folder's lock: every write transaction of any process takes it.

Two advisory locks: a writer first queues, then writes. Whoever holds the queue is next, so a busy server cannot starve a command beside it
(one lock alone let one process commit 36,000 times while another committed once). The kernel wakes waiters but hands a lock to nobody: on
busy cores the process that just wrote would be back in the queue before a woken waiter runs. So it first lets a waiter step up.
"""

import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


STEP_UP_SECONDS, LOOKS = 0.02, 100


class FolderBusy(RuntimeError):
    """Another process serves this data folder."""


class FolderLock:
    """`queue.lock` and `write.lock` in the data folder, held by open file, so threads of one process exclude each other too."""

    def __init__(self, folder: Path) -> None:
        names = ("waiting", "queue", "write", "serving")
        self._waiting, self._queue, self._write, self._serving = (folder / f"{name}.lock" for name in names)
        self._wrote_last = False

    def acquire(self) -> int:
        """Waits for its turn and returns what `release` needs."""
        if self._wrote_last:
            self._let_a_waiter_step_up()
        waiting, queue = _open(self._waiting), _open(self._queue)
        try:
            fcntl.flock(waiting, fcntl.LOCK_SH)
            fcntl.flock(queue, fcntl.LOCK_EX)
            fcntl.flock(waiting, fcntl.LOCK_UN)
            write = _open(self._write)
            fcntl.flock(write, fcntl.LOCK_EX)
        finally:
            os.close(queue)
            os.close(waiting)
        self._wrote_last = True
        return write

    def _let_a_waiter_step_up(self) -> None:
        """Returns once nobody waits, or one of those who wait has the queue, or after STEP_UP_SECONDS."""
        waiting, queue = _open(self._waiting), _open(self._queue)
        try:
            for _look in range(LOOKS):
                if _taken(waiting, fcntl.LOCK_EX) or not _taken(queue, fcntl.LOCK_EX):
                    return
                fcntl.flock(queue, fcntl.LOCK_UN)
                time.sleep(STEP_UP_SECONDS / LOOKS)
        finally:
            os.close(queue)
            os.close(waiting)

    @staticmethod
    def release(held: int) -> None:
        os.close(held)

    @contextmanager
    def serving(self) -> Iterator[None]:
        """Held by a running server, shared by none: restore, migrate and move take it too and so refuse beside a server."""
        held = _open(self._serving)
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as problem:
            os.close(held)
            raise FolderBusy(
                "another server or a maintenance command is using this data folder; stop it first"
            ) from problem
        try:
            yield
        finally:
            os.close(held)


def _open(path: Path) -> int:
    return os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)


def _taken(descriptor: int, kind: int) -> bool:
    """Whether the lock could be had at once."""
    try:
        fcntl.flock(descriptor, kind | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
