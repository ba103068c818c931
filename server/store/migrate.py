"""Brings a database up to the models. Each revision and the record of it is one transaction.

An empty database is not led through every revision: it gets the tables of the models (server/migrations/env.py).
"""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine

MIGRATIONS = Path(__file__).resolve().parent.parent / "migrations"


def _config(engine: Engine) -> Config:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.attributes["engine"] = engine
    return config


def upgrade(engine: Engine, revision: str = "head") -> None:
    """Safe to repeat. Take the folder's `serving` lock first: never beside a running server."""
    config = _config(engine)
    config.attributes["to_the_last"] = revision == "head"
    command.upgrade(config, revision)


def revisions() -> list[str]:
    """All revisions, oldest first."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    return [script.revision for script in ScriptDirectory.from_config(config).walk_revisions()][::-1]


def current_revision(engine: Engine) -> str | None:
    with engine.execution_options(ro=True).connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def write_revision(engine: Engine, message: str, revision: str) -> None:
    """For contributors: the difference between models and database as a new revision file."""
    command.revision(_config(engine), message=message, autogenerate=True, rev_id=revision)
