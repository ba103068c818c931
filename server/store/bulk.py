"""Many rows of one table changed in one statement, with the loaded objects kept true."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import chain
from typing import Any, cast

from sqlalchemy import Table, bindparam, insert, inspect, update
from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import set_committed_value

from server.store.base import Base

ROWS_A_STATEMENT = 2500  # SQLite takes 32,766 values in a statement, PostgreSQL 65,535


def _table(model: type[Base]) -> Table:
    return cast(Table, model.__table__)


def insert_rows(session: Session, table: type[Base], rows: Sequence[Mapping[str, Any]]) -> None:
    """New rows, all naming the same columns; no objects are made of them."""
    if rows:
        session.connection().execute(insert(_table(table)), rows)


def insert_rows_with_ids(session: Session, table: type[Base], rows: Sequence[Mapping[str, Any]]) -> list[int]:
    """The same, and the new ids in the order of the rows."""
    if not rows:
        return []
    key = _table(table).c.id
    made = session.connection().execute(insert(_table(table)).returning(key, sort_by_parameter_order=True), rows)
    return list(made.scalars())


def bound(session: Session, table: type[Base], column: str, value: Any) -> Any:
    """A value of this column as the driver takes it, for the two functions below."""
    dialect = session.connection().dialect
    process = _table(table).c[column].type.dialect_impl(dialect).bind_processor(dialect)
    return value if process is None else process(value)


def supersede(session: Session, table: type[Base], ids: Sequence[int], at: Any) -> int:
    """Sets `superseded_at` of those of these rows that are still valid, and says how many they were."""
    statement = "UPDATE {} SET superseded_at = {} WHERE superseded_at IS NULL AND id IN ({})"
    name, mark, connection = _table(table).name, _mark(session), session.connection()
    return sum(
        connection.exec_driver_sql(statement.format(name, mark, ", ".join([mark] * len(some))), (at, *some)).rowcount
        for some in _parts(ids)
    )


def insert_tuples(session: Session, table: type[Base], columns: Sequence[str], rows: Sequence[tuple[Any, ...]]) -> None:
    """New rows, many to a statement; values go to the driver as they are."""
    head = f"INSERT INTO {_table(table).name} ({', '.join(columns)}) VALUES "
    row = f"({', '.join([_mark(session)] * len(columns))})"
    for some in _parts(rows):
        statement = head + ", ".join([row] * len(some))
        session.connection().exec_driver_sql(statement, tuple(chain.from_iterable(some)))


def _mark(session: Session) -> str:
    return "?" if session.connection().dialect.name == "sqlite" else "%s"


def _parts(rows: Sequence[Any]) -> Iterator[Sequence[Any]]:
    for start in range(0, len(rows), ROWS_A_STATEMENT):
        yield rows[start : start + ROWS_A_STATEMENT]


def update_rows(session: Session, changes: Sequence[tuple[Base, Mapping[str, Any]]]) -> None:
    """Each pair is a loaded row of one table, without pending changes, and the new values; all pairs name the same columns."""
    if not changes:
        return
    table = _table(type(changes[0][0]))
    key = inspect(type(changes[0][0])).primary_key[0].name
    names: dict[str, Any] = {name: bindparam(f"new_{name}") for name in changes[0][1]}
    statement = update(table).where(table.c[key] == bindparam("this_row")).values(names)
    bound = [
        {"this_row": getattr(row, key), **{f"new_{name}": value for name, value in values.items()}}
        for row, values in changes
    ]
    session.connection().execute(statement, bound)
    for row, values in changes:
        for name, value in values.items():
            set_committed_value(row, name, value)
