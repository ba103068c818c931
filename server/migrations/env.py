"""Alembic's entry. The engine comes from server.store.migrate; there is no alembic.ini and no offline mode."""

from typing import Any

from alembic import context
from alembic.autogenerate.api import AutogenContext
from sqlalchemy import Engine
from sqlalchemy.types import TypeDecorator

from server.models import Base


def _written(kind: str, item: Any, autogen: AutogenContext) -> Any:
    """Column types as the database has them, so that a migration never changes with the models' code."""
    if kind != "type" or not isinstance(item, TypeDecorator):
        return False
    name = type(item.impl_instance).__name__
    return "sa.DateTime(timezone=True)" if name == "DateTime" else f"sa.{name}()"


def run() -> None:
    engine: Engine = context.config.attributes["engine"]
    with engine.connect() as connection:
        context.configure(
            connection=connection,
            target_metadata=Base.metadata,
            render_item=_written,
            transaction_per_migration=True,
            render_as_batch=False,
        )
        with context.begin_transaction():
            context.run_migrations()


run()
