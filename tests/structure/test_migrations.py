"""Migrations lead from an empty database, and from every earlier version, to the tables that the models describe."""

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from alembic.runtime.migration import MigrationContext
from sqlalchemy import Engine, inspect, text
from sqlalchemy.exc import IntegrityError

import server.models
from server.store import migrate
from server.store.base import Base
from server.store.engine import make_engine
from tests.databases import NoPostgreSQL, new_database, shared_server

assert server.models  # imported for its effect: every table is in Base.metadata
KEPT_BY_ALEMBIC = "alembic_version"


@pytest.fixture(params=["sqlite", "postgresql"])
def two_engines(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[Engine, Engine]]:
    """Two empty databases of one kind: for the migrations, and for what the models say."""
    if request.param == "sqlite":
        yield from two(f"sqlite:///{tmp_path / 'migrated.sqlite'}", f"sqlite:///{tmp_path / 'modelled.sqlite'}")
        return
    try:
        postgresql = shared_server()
    except NoPostgreSQL as missing:
        pytest.skip(f"PostgreSQL: {missing}")
    with new_database(postgresql) as migrated, new_database(postgresql) as modelled:
        yield from two(migrated, modelled)


def two(migrated: str, modelled: str) -> Iterator[tuple[Engine, Engine]]:
    engines = make_engine(migrated, None), make_engine(modelled, None)
    yield engines
    for engine in engines:
        engine.dispose()


def plain(value: Any) -> Any:
    """What the inspector says, free of order and of objects that compare by identity."""
    if isinstance(value, dict):
        return tuple(sorted((key, plain(inner)) for key, inner in value.items() if inner is not None))
    if isinstance(value, list | tuple):
        return tuple(plain(inner) for inner in value)
    return str(value)


def schema_of(engine: Engine) -> dict[str, dict[str, Any]]:
    """Columns, keys, checks and indexes of every table, with their names."""
    seen = inspect(engine)
    tables = [table for table in seen.get_table_names() if table != KEPT_BY_ALEMBIC]
    return {
        table: {
            "columns": sorted(map(plain, seen.get_columns(table))),
            "primary key": plain(seen.get_pk_constraint(table)),
            "foreign keys": sorted(map(plain, seen.get_foreign_keys(table))),
            "unique": sorted(map(plain, seen.get_unique_constraints(table))),
            "checks": sorted(map(plain, seen.get_check_constraints(table))),
            "indexes": sorted(map(plain, seen.get_indexes(table))),
            "options": plain(seen.get_table_options(table)),
        }
        for table in tables
    }


def test_migrating_the_first_version_makes_what_the_models_describe(two_engines: tuple[Engine, Engine]) -> None:
    migrated, modelled = two_engines
    migrate.upgrade(migrated, "0001")
    migrate.upgrade(migrated)
    Base.metadata.create_all(modelled)
    found, described = schema_of(migrated), schema_of(modelled)
    assert set(found) == set(described)
    for table in described:
        assert found[table] == described[table], table


def test_every_earlier_version_can_be_migrated(two_engines: tuple[Engine, Engine]) -> None:
    """Each step begins where the one before ended, as on a clinic's server that is upgraded at every release."""
    migrated, modelled = two_engines
    Base.metadata.create_all(modelled)
    assert migrate.revisions()
    for revision in migrate.revisions():
        migrate.upgrade(migrated, revision)
        assert migrate.current_revision(migrated) == revision
    assert schema_of(migrated) == schema_of(modelled)


def test_an_empty_database_gets_the_tables_of_the_last_version_with_nothing_in_them(
    two_engines: tuple[Engine, Engine],
) -> None:
    made, _ = two_engines
    migrate.upgrade(made)
    assert migrate.current_revision(made) == migrate.revisions()[-1]
    assert set(inspect(made).get_table_names()) == {*Base.metadata.tables, KEPT_BY_ALEMBIC}


def test_an_empty_database_whose_making_is_broken_off_stays_empty_and_is_made_by_the_next_try(
    two_engines: tuple[Engine, Engine], monkeypatch: pytest.MonkeyPatch
) -> None:
    made, _ = two_engines
    with monkeypatch.context() as patch:
        patch.setattr(MigrationContext, "stamp", no_power)
        with pytest.raises(OSError, match="no power"):
            migrate.upgrade(made)
    assert inspect(made).get_table_names() == []
    migrate.upgrade(made)
    assert migrate.current_revision(made) == migrate.revisions()[-1]


def no_power(*_given: object) -> None:
    raise OSError("no power")


def test_migrating_twice_changes_nothing(two_engines: tuple[Engine, Engine]) -> None:
    migrated, _ = two_engines
    migrate.upgrade(migrated)
    before = schema_of(migrated)
    migrate.upgrade(migrated)
    assert schema_of(migrated) == before


OLD_TEXT = """
    INSERT INTO installed_text (text_id, instrument, instrument_version, language, owner, licence_reference,
        translation_version, dated_on, sha256, content, installed_at)
    VALUES (:text_id, 'sst', '1', :language, 'nobody', 'none', '1', '2026-01-31', :sha256, '{}', '2026-02-01 09:00:00')
"""


def test_texts_installed_before_they_could_be_replaced_are_in_force(two_engines: tuple[Engine, Engine]) -> None:
    migrated, _ = two_engines
    migrate.upgrade(migrated, "0001")
    rows = [{"text_id": f"sst@1/{each}/licensed-1", "language": each, "sha256": each.encode()} for each in ("en", "es")]
    with migrated.begin() as connection:
        connection.execute(text(OLD_TEXT), rows)
    migrate.upgrade(migrated)
    with migrated.begin() as connection:
        found = connection.execute(text("SELECT text_id, replaced_at FROM installed_text ORDER BY text_id")).all()
        assert [tuple(row) for row in found] == [(row["text_id"], None) for row in rows]
    again = rows[0] | {"text_id": "sst@1/en/licensed-2"}
    with pytest.raises(IntegrityError), migrated.begin() as connection:
        connection.execute(text(OLD_TEXT), again)


OLD_CLINIC = """
    INSERT INTO clinic (id, name, mode, phone, phone_hours, closed_phone, emergency_number, time_zone, languages, default_plan,
        base_url)
    VALUES (1, 'A clinic', 'demo', '1', :hours, '2', '3', 'Europe/Madrid', 'es,en', 'standard@1', 'http://localhost')
"""


def test_the_hours_of_an_earlier_version_become_those_of_the_clinics_first_language(
    two_engines: tuple[Engine, Engine],
) -> None:
    migrated, _ = two_engines
    migrate.upgrade(migrated, "0007")
    with migrated.begin() as connection:
        connection.execute(text(OLD_CLINIC), {"hours": "lunes a viernes, “de 8 a 16”"})
    migrate.upgrade(migrated)
    with migrated.begin() as connection:
        kept = connection.execute(text("SELECT phone_hours, mail_from, surgeons FROM clinic")).one()
    assert (json.loads(kept[0]), *kept[1:]) == ({"es": "lunes a viernes, “de 8 a 16”"}, None, None)


OLD_PATIENT = """
    INSERT INTO patient (id, handle, study_number, first_name, last_name, birth_on, birth_year, sex, language, time_zone,
        channel_order, made_at)
    VALUES (1, 'h', 'Y-1', :sealed, :sealed, :sealed, 1952, 'female', 'en', 'Europe/Madrid', 'email', '2026-02-01 09:00:00')
"""
OLD_FLAG = """
    INSERT INTO flag (id, kind, patient_id, item, raised_at, detail) VALUES (7, :kind, 1, 'since@1/6a', '2026-02-01 09:00:00', :detail)
"""


ONE_MORE = """
import sqlalchemy as sa
from alembic import op

revision, down_revision, branch_labels, depends_on = "9999", "{last}", None, None


def upgrade():
    with op.batch_alter_table("patient", table_kwargs={{"sqlite_strict": True}}) as patient:
        patient.alter_column("study_number", type_=sa.String(30))
"""


def test_sqlite_lets_a_migration_replace_a_table_that_others_refer_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The patient of a flag moves with its table into a new one; afterwards what refers to nothing is refused again."""
    engine = make_engine(f"sqlite:///{tmp_path / 'a.sqlite'}", None)
    migrate.upgrade(engine)
    with engine.begin() as connection:
        connection.execute(text(OLD_PATIENT), {"sealed": b"x"})
        connection.execute(text(OLD_FLAG), {"kind": "contact_change", "detail": b"sealed"})
    monkeypatch.setattr(migrate, "MIGRATIONS", with_one_more(tmp_path))
    migrate.upgrade(engine)
    assert migrate.current_revision(engine) == "9999"
    with engine.begin() as connection:
        assert connection.execute(text("SELECT patient_id FROM flag")).all() == [(1,)]
    with pytest.raises(IntegrityError), engine.begin() as connection:
        connection.execute(
            text(OLD_FLAG.replace("(7, :kind, 1", "(8, :kind, 2")), {"kind": "erased", "detail": b"sealed"}
        )
    engine.dispose()


def with_one_more(folder: Path) -> Path:
    """The migrations and after them one that replaces the table of patients."""
    copied = folder / "migrations"
    shutil.copytree(migrate.MIGRATIONS, copied)
    last = migrate.revisions()[-1]
    (copied / "versions" / "9999_more.py").write_text(ONE_MORE.format(last=last))
    return copied


def test_flags_of_an_earlier_version_stay_and_new_kinds_are_taken(two_engines: tuple[Engine, Engine]) -> None:
    migrated, _ = two_engines
    migrate.upgrade(migrated, "0008")
    with migrated.begin() as connection:
        connection.execute(text(OLD_PATIENT), {"sealed": b"x"})
        connection.execute(text(OLD_FLAG), {"kind": "contact_change", "detail": b"sealed"})
    migrate.upgrade(migrated)
    with migrated.begin() as connection:
        kept = connection.execute(text("SELECT id, kind, item, detail, envelope_id, true_side FROM flag")).one()
        assert (*kept[:3], bytes(kept[3]), *kept[4:]) == (7, "contact_change", "since@1/6a", b"sealed", None, None)
        for kind in ("consent_again", "said_died"):
            connection.execute(text("UPDATE flag SET kind = :kind, true_side = 'left'"), {"kind": kind})
    with pytest.raises(IntegrityError), migrated.begin() as connection:
        connection.execute(text("UPDATE flag SET kind = 'said_nothing'"))
