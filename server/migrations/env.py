"""Alembic's entry. The engine comes from server.store.migrate; there is no alembic.ini and no offline mode."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from alembic import context
from alembic.autogenerate.api import AutogenContext
from sqlalchemy import Connection, Engine, inspect
from sqlalchemy.types import TypeDecorator

from server.models import Base


def _written(kind: str, item: Any, autogen: AutogenContext) -> Any:
    """Column types as the database has them, so that a migration never changes with the models' code."""
    if kind != "type" or not isinstance(item, TypeDecorator):
        return False
    name = type(item.impl_instance).__name__
    return "sa.DateTime(timezone=True)" if name == "DateTime" else f"sa.{name}()"


@contextmanager
def _tables_may_be_replaced(connection: Connection) -> Iterator[None]:
    """SQLite changes a table by moving its rows into a new one, and would not let a table go that others refer to.

    The pragma does nothing within a transaction, so it goes straight to the driver before the first one begins. What the migrations
    leave is checked: a row that refers to nothing is a fault of a migration.
    """
    if connection.dialect.name != "sqlite":
        yield
        return
    driver = connection.connection.driver_connection
    assert driver is not None
    [was_on] = driver.execute("PRAGMA foreign_keys").fetchone()
    driver.execute("PRAGMA foreign_keys=off")
    try:
        yield
        lost = driver.execute("PRAGMA foreign_key_check").fetchall()
        if lost:
            raise RuntimeError(
                f"a migration left rows that refer to nothing, in: {', '.join(sorted({row[0] for row in lost}))}"
            )
    finally:
        driver.execute(f"PRAGMA foreign_keys={was_on}")


def _made_anew(connection: Connection) -> bool:
    """An empty database gets the tables of the models and the last revision's mark in one transaction: both, or nothing."""
    with connection.begin():
        if inspect(connection).get_table_names():
            return False
        Base.metadata.create_all(connection)
        context.get_context().stamp(context.script, "head")
    return True


def run() -> None:
    engine: Engine = context.config.attributes["engine"]
    with engine.connect() as connection, _tables_may_be_replaced(connection):
        context.configure(
            connection=connection,
            target_metadata=Base.metadata,
            render_item=_written,
            transaction_per_migration=True,
            render_as_batch=False,
        )
        if context.config.attributes.get("to_the_last") and _made_anew(connection):
            return
        with context.begin_transaction():
            context.run_migrations()


run()
