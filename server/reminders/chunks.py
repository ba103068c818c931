"""Walks over many rows in small transactions, so that nobody waits long for the data folder's lock."""

from collections.abc import Callable, Iterator
from typing import Any

from sqlalchemy import Select

from server.store.engine import Store

CHUNK = 20


def in_chunks(store: Store, ids_after: Callable[[int], Select[Any]]) -> Iterator[list[int]]:
    """Lists of at most 20 ids, read without a lock. `ids_after(last)` selects ids greater than `last` in ascending order."""
    last = 0
    while True:
        with store.reading() as session:
            ids = list(session.scalars(ids_after(last).limit(CHUNK)))
        if not ids:
            return
        yield ids
        last = ids[-1]
