"""The data folder's lock: every write transaction of any process takes it.

Two advisory locks: a writer first queues, then writes. Whoever holds the queue is next, so a busy server cannot starve a command beside it
(one lock alone let one process commit 36,000 times while another committed once).
"""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class FolderBusy(RuntimeError):
    """Another process serves this data folder."""


class FolderLock:
    """`queue.lock` and `write.lock` in the data folder, held by open file, so threads of one process exclude each other too."""

    def __init__(self, folder: Path) -> None:
        self._queue, self._write, self._serving = (folder / f"{name}.lock" for name in ("queue", "write", "serving"))

    def acquire(self) -> int:
        """Waits for its turn and returns what `release` needs."""
        queue = _open(self._queue)
        try:
            fcntl.flock(queue, fcntl.LOCK_EX)
            write = _open(self._write)
            fcntl.flock(write, fcntl.LOCK_EX)
        finally:
            os.close(queue)
        return write

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
