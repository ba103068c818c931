"""A copy is restored to try it, and what differs is found. From a copy of the version before, too."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import MetaData, Table, select

from server.installation.backup import count_rows
from server.installation.drill import NOT_COMPARED, SAME, SCRATCH, drill
from server.installation.restore import Wanted, restore
from server.models import RestoreProof
from server.queries.copies import newest_proof
from server.store.migrate import revisions, upgrade
from server.trust.backup.databases import FILES, copy_database
from server.trust.backup.manifest import MANIFEST, CopyProblem, Manifest, entry_of
from tests.clinic_case import NOW
from tests.installation.copied import Copied, copied, on_sqlite, opened
from tests.storehouse import demo_clinic

__all__ = ["copied", "on_sqlite"]


def proofs(copied: Copied) -> list[tuple[bool, dict[str, object]]]:
    with copied.case.store.reading() as session:
        return [(row.same, json.loads(row.detail)) for row in session.scalars(select(RestoreProof))]


def test_a_drill_beside_a_running_server_proves_the_newest_copy(copied: Copied) -> None:
    data, _keys = copied.data(), copied.keys()
    copied.case.enrol(first_name="Cleo", last_name="Cedar")  # later than the copy
    with copied.runtime.lock.serving():
        proof = drill(copied.runtime, None, None)
    assert (proof.same, proof.files) == (True, SAME)
    rows, tables = sum(data.manifest.counts.values()), len(data.manifest.counts)
    assert proofs(copied) == [(True, {"files": SAME, "rows": rows, "tables": tables})]
    with copied.case.store.reading() as session:
        newest = newest_proof(session)
        assert newest is not None
        assert newest.backup_id == data.manifest.backup_id
    assert not (copied.runtime.settings.data / SCRATCH).exists()
    copied.data()  # and goes on


def test_a_drill_that_finds_other_files_proves_nothing(on_sqlite: Copied) -> None:
    data, _keys = on_sqlite.data(), on_sqlite.keys()
    altered = replace(data.manifest, export={**data.manifest.export, "sha256": "0" * 64})
    (data.folder / MANIFEST).write_bytes(altered.to_bytes())
    assert not drill(on_sqlite.runtime, None, None).same
    assert [same for same, _ in proofs(on_sqlite)] == [False]
    with on_sqlite.case.store.reading() as session:
        assert newest_proof(session) is None


def test_a_table_with_another_number_of_rows_is_found(copied: Copied) -> None:
    data, _keys = copied.data(), copied.keys()
    altered = replace(data.manifest, counts={**data.manifest.counts, "patient": 3})
    (data.folder / MANIFEST).write_bytes(altered.to_bytes())
    with pytest.raises(CopyProblem, match="the restored table patient has not as many rows as were copied"):
        drill(copied.runtime, None, None)
    assert proofs(copied) == []


def test_without_copies_a_drill_says_what_to_run_first(on_sqlite: Copied) -> None:
    with pytest.raises(CopyProblem, match=r"no data were copied yet.*run `yearmark backup` first"):
        drill(on_sqlite.runtime, None, None)
    on_sqlite.data()
    with pytest.raises(CopyProblem, match=r"no keys were copied yet.*run `yearmark backup-keys` first"):
        drill(on_sqlite.runtime, None, None)


def of_the_version_before(copied: Copied, folder: Path) -> Manifest:
    """A copy as the version before this one would have made it: its schema, the same clinic, nobody in it."""
    machine = copied.new_machine("earlier version")
    machine.data.mkdir()
    runtime = opened(replace(machine, keys=copied.runtime.keys.folder))
    engine, now = runtime.store.engine, copied.case.store.engine
    upgrade(engine, revisions()[-2])
    sealing = Table("sealing_key", MetaData(), autoload_with=now)
    with copied.case.store.reading() as session:
        keys = [dict(row) for row in session.execute(sealing.select()).mappings()]
    clinic = Table("clinic", MetaData(), autoload_with=engine)
    whole = demo_clinic()
    values = {column.name: getattr(whole, column.name, None) for column in clinic.columns}
    values["phone_hours"] = json.dumps(values["phone_hours"])
    with engine.begin() as connection:
        connection.execute(clinic.insert().values(**values))
        connection.execute(sealing.insert(), keys)
    folder.mkdir(parents=True)
    with runtime.store.reading() as session:
        counts = count_rows(session.connection())
        copy_database(session, machine.database_url, folder, lambda _done, _all: None)
    engine.dispose()
    name = FILES[engine.dialect.name]
    manifest = replace(
        copied.data().manifest,
        revision=revisions()[-2],
        counts=counts,
        export={},
        files={name: entry_of(folder / name)},
    )
    (folder / MANIFEST).write_bytes(manifest.to_bytes())
    return manifest


def test_a_copy_of_the_version_before_is_restored_and_brought_up_to_this_one(copied: Copied) -> None:
    copied.keys()
    folder = copied.folder / "earlier" / "copy"
    manifest = of_the_version_before(copied, folder)
    proof = drill(copied.runtime, folder, None)
    assert (proof.same, proof.files, proof.manifest) == (True, NOT_COMPARED, manifest)
    machine = copied.new_machine("other")
    restore(machine, Wanted(folder, copied.keys("more keys").folder), now=NOW)
    runtime = opened(machine)
    with runtime.store.reading() as session:
        assert set(count_rows(session.connection())) >= set(manifest.counts)
    runtime.store.engine.dispose()
