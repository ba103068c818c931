"""The data folder's lock: every write transaction of any process takes it, first come, first served.

One advisory lock is not enough: the kernel wakes waiters but hands a lock to nobody, so a busy process takes it again before a woken one
runs (measured: 36,000 commits against 1). So a writer first takes a place in the queue, then waits for the place before its own, for which
nobody else waits, and only then takes the lock to write. Locks of a process that dies are let go by the kernel.
"""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

PLACES = 64  # lock files of the queue, used in turn; more writers than that wait to take a place


class FolderBusy(RuntimeError):
    """Another process serves this data folder."""


@dataclass(frozen=True)
class Held:
    """Open files whose locks are held: the place in the queue and the right to write."""

    place: int
    write: int


class FolderLock:
    """Lock files in `FOLDER/locks`, held by open file, so threads of one process exclude each other too."""

    def __init__(self, folder: Path) -> None:
        locks = folder / "locks"
        locks.mkdir(parents=True, exist_ok=True, mode=0o700)
        self._queue, self._write = str(locks / "queue"), str(locks / "write")
        self._serving, self._copying, self._loading = (str(locks / name) for name in ("serving", "copying", "loading"))
        self._places = tuple(str(locks / f"place-{number}") for number in range(PLACES))

    def acquire(self) -> Held:
        """Waits for its turn and returns what `release` needs."""
        place, before = self._take_place()
        _close(_locked(before))
        return Held(place, _locked(self._write))

    def _take_place(self) -> tuple[int, str]:
        """The locked place in the queue, and the file of the place before it."""
        queue = _locked(self._queue)
        try:
            number = int.from_bytes(os.pread(queue, 8, 0)) + 1
            os.pwrite(queue, number.to_bytes(8), 0)
            return _locked(self._place(number)), self._place(number - 1)
        finally:
            _close(queue)

    def _place(self, number: int) -> str:
        return self._places[number % PLACES]

    @staticmethod
    def release(held: Held) -> None:
        _close(held.write)
        _close(held.place)

    @contextmanager
    def serving(self) -> Iterator[None]:
        """Held by a running server, shared by none: restore, migrate and move take it too and so refuse beside a server."""
        with _alone(self._serving, "another server or a maintenance command is using this data folder; stop it first"):
            yield

    @contextmanager
    def copying(self) -> Iterator[None]:
        """Held while a copy is made, also beside a server: what else an unfinished copy has left behind is nobody's."""
        with _alone(self._copying, "another copy of this data folder is being made; wait until it is finished"):
            yield

    @contextmanager
    def loading(self) -> Iterator[int]:
        """Waits for its turn. The descriptor is handed on to the program that loads a database, so that it holds the lock too: one
        that outlives a killed restore is waited for by the next, or both would load at once."""
        held = _locked(self._loading)
        try:
            yield held
        finally:
            _close(held)


@contextmanager
def _alone(path: str, otherwise: str) -> Iterator[None]:
    try:
        held = _locked(path, fcntl.LOCK_NB)
    except BlockingIOError as problem:
        raise FolderBusy(otherwise) from problem
    try:
        yield
    finally:
        _close(held)


def _locked(path: str, how: int = 0) -> int:
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | how)
    except BaseException:
        os.close(descriptor)
        raise
    return descriptor


_close = os.close
