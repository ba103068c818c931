"""Many rows of one table changed in one statement, with the loaded objects kept true."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import inspect, update
from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import set_committed_value

from server.models.base import Base


def update_rows(session: Session, changes: Sequence[tuple[Base, Mapping[str, Any]]]) -> None:
    """Each pair is a loaded row of one table, without pending changes, and the new values; all pairs name the same columns."""
    if not changes:
        return
    table = type(changes[0][0])
    key = inspect(table).primary_key[0].name
    session.execute(update(table), [{key: getattr(row, key), **values} for row, values in changes])
    for row, values in changes:
        for name, value in values.items():
            set_committed_value(row, name, value)
