"""Batches of a rescore in their order: read here, or, where there are many, by a process of its own while the one before is written.

To read, open and score a batch takes about as long as to write it, and two threads of one interpreter take turns at it (measured: next to
nothing gained). The process shares no open database with this one. It waits to be told that a batch arrived before it sends the next but
one, so that what is written was read a moment ago; and it ends when nobody listens any more, however this process ended.
"""

import gc
import signal
from collections import Counter
from collections.abc import Generator, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import Any

from sqlalchemy import URL, func, select

from scoring.library import Library
from server.crypto.fields import FieldRing
from server.intake.open import Keys
from server.intake.rebuild import Batch, Patients, find_changes, next_patients
from server.intake.score_changes import Change, Where
from server.intake.scores import Stated
from server.models import Response
from server.store.engine import Store, make_engine

MANY = 10  # batches; fewer are read sooner than a process starts
AHEAD = 2  # batches on their way
# More objects than a batch has. None of them is garbage before its end, and looking for some took a tenth of the time.
SELDOM = 200_000


class ReaderGone(RuntimeError):
    """The process that reads ahead ended too soon."""


@dataclass(frozen=True)
class _Failed:
    problem: Exception


@contextmanager
def seldom_collected() -> Iterator[None]:
    before = gc.get_threshold()
    gc.set_threshold(SELDOM, *before[1:])
    try:
        yield
    finally:
        gc.set_threshold(*before)


def read_batches(store: Store, keys: Keys, library: Library, *, at_once: int) -> Generator[Batch, None, None]:
    """Every patient's responses, some patients at a time, each batch as it stood when it was read. Close it when the rest is not wanted.

    Raises what reading raised, and ReaderGone.
    """
    with store.reading() as session:
        responses = session.scalar(select(func.count(Response.id))) or 0
    if responses <= MANY * at_once:
        return _read(store, keys, library, at_once)
    return _read_elsewhere(store.engine.url, keys, library, at_once)


def _read(store: Store, keys: Keys, library: Library, at_once: int) -> Generator[Batch, None, None]:
    after = 0
    while True:
        with store.reading() as session:
            of = next_patients(session, after, at_once=at_once)
            if of is None:
                return
            batch = find_changes(session, of, keys, library)
        yield batch
        after = of.last


def _read_elsewhere(url: URL, keys: Keys, library: Library, at_once: int) -> Generator[Batch, None, None]:
    context = get_context("spawn")  # a forked process would share our open database
    here, there = context.Pipe()
    reader = context.Process(target=_send_all, args=(there, url, keys, library, at_once), daemon=True)
    with _ctrl_c_held_back():
        reader.start()
    there.close()
    try:
        while (batch := _received(here)) is not None:
            yield batch
    finally:
        here.close()
        reader.join()


@contextmanager
def _ctrl_c_held_back() -> Iterator[None]:
    """It reaches every process of a terminal. The reader inherits that it is held back for good, and this one says what stands."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _received(here: Connection) -> Batch | None:
    try:
        message = here.recv()
        with suppress(BrokenPipeError, ConnectionResetError):  # it sent its last and ended
            here.send(None)
    except (EOFError, OSError) as problem:  # OSError: in the middle of a message
        raise ReaderGone("the process that reads the answers ended too soon") from problem
    if isinstance(message, _Failed):
        raise message.problem
    return None if message is None else _unpacked(message)


def _send_all(there: Connection, url: URL, keys: Keys, library: Library, at_once: int) -> None:
    """The whole work of the other process."""
    store = Store(
        make_engine(url, None), FieldRing({}, "")
    )  # reading takes no lock, and opens no field of the clinic's
    with suppress(BrokenPipeError, ConnectionResetError, EOFError), seldom_collected():  # nobody listens any more
        there.send(_failed_or_none(there, _read(store, keys, library, at_once)))
    store.engine.dispose()


def _failed_or_none(there: Connection, batches: Iterator[Batch]) -> _Failed | None:
    """Sends all of them; what reading them raised, if anything."""
    number = 0
    while True:
        try:
            batch = next(batches, None)
        except Exception as problem:
            return _Failed(problem)
        if batch is None:
            return None
        if number >= AHEAD:
            there.recv()
        there.send(_packed(batch))
        number += 1


def _packed(batch: Batch) -> tuple[Any, ...]:
    """In plain tuples, which go through a pipe five times as fast."""
    changes = [
        (tuple(each.where), each.row_id, each.before and tuple(each.before), each.after and tuple(each.after))
        for each in batch.changes
    ]
    return tuple(batch.of), batch.responses, dict(batch.unchanged), changes, batch.left_alone, batch.patients


def _unpacked(message: tuple[Any, ...]) -> Batch:
    of, responses, unchanged, packed, left_alone, patients = message
    changes = [
        Change(Where._make(where), row_id, before and Stated._make(before), after and Stated._make(after))
        for where, row_id, before, after in packed
    ]
    return Batch(Patients(*of), responses, Counter(unchanged), changes, left_alone, patients)
