"""Walks over many rows in small transactions, so that nobody waits long for the data folder's lock."""

from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy import BindParameter, Integer, Select, bindparam

from server.store.engine import Store

CHUNK = 20
# What the statement of a walk takes: ids greater than this, at most so many.
LAST: BindParameter[int] = bindparam("last", type_=Integer)
AT_ONCE: BindParameter[int] = bindparam("at_once", type_=Integer)


def in_chunks(
    store: Store, ids: Select[Any], values: Mapping[str, Any] | None = None, *, at_once: int = CHUNK
) -> Iterator[list[int]]:
    """Lists of at most `at_once` ids, read without a lock. `ids` selects in ascending order ids greater than LAST, at most AT_ONCE.

    `values`: what else is bound in it. A statement that is put together once for all passes saves more than it takes to run it.
    """
    last = 0
    while True:
        with store.reading() as session:
            found = list(session.scalars(ids, {"last": last, "at_once": at_once, **(values or {})}))
        if found:
            yield found
            last = found[-1]
        if len(found) < at_once:
            return
