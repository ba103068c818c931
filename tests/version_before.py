"""A clinic's database as the version before left it, since no migration is ever undone."""

import sqlite3
from contextlib import closing
from pathlib import Path

from server.store.engine import make_engine
from server.store.migrate import revisions, upgrade

BEFORE, NEWEST = revisions()[-2:]


def left_by_the_version_before(database: Path, made: Path) -> None:
    """Writes `made`: the schema of the migration before the newest, and in it of `database` what the two versions have in common."""
    engine = make_engine(f"sqlite:///{made}", None)
    upgrade(engine, BEFORE)
    engine.dispose()
    with closing(sqlite3.connect(made)) as connection:
        connection.execute("ATTACH ? AS newer", [str(database)])
        tables = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table' AND name <> 'alembic_version'")
        for (table,) in tables.fetchall():
            columns = [set(_columns(connection, schema, table)) for schema in ("main", "newer")]
            common = ", ".join(sorted(columns[0] & columns[1]))
            if common:
                connection.execute(f"INSERT OR REPLACE INTO main.{table} ({common}) SELECT {common} FROM newer.{table}")
        connection.commit()


def _columns(connection: sqlite3.Connection, schema: str, table: str) -> list[str]:
    return [row[1] for row in connection.execute(f"PRAGMA {schema}.table_info({table})")]
