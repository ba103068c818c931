"""A copy is restored to try it, and what differs is found. From a copy of the version before, too."""

import json
import re
import shutil
from contextlib import ExitStack
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection, MetaData, Table, make_url, select

from server.config import Settings
from server.exports import DIGEST_FOLDERS
from server.installation import scratch
from server.installation.backup import count_rows
from server.installation.drill import drill
from server.installation.restore import Wanted, restore
from server.installation.scratch import SCRATCH, take_away_unless_in_use
from server.models import Restoration, RestoreProof
from server.queries.copies import FAILED, NOT_COMPARED, SAME, found_by, newest_drill, newest_proof
from server.store.migrate import revisions, upgrade
from server.trust.backup.databases import FILES, copy_database
from server.trust.backup.manifest import MANIFEST, CopyProblem, Manifest, entry_of
from tests.clinic_case import NOW
from tests.installation.copied import Copied, copied, make_copied, on_sqlite, opened
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
    [(same, detail)] = proofs(copied)
    assert (same, detail["files"]) == (False, FAILED)
    assert "the restored table patient has not as many rows" in str(detail["problem"])


def test_a_drill_of_a_copy_that_is_gone_is_the_newest_that_is_shown(on_sqlite: Copied) -> None:
    data, _keys = on_sqlite.data(), on_sqlite.keys()
    assert drill(on_sqlite.runtime, None, None).same
    shutil.rmtree(data.folder)
    on_sqlite.case.now += timedelta(minutes=1)
    with pytest.raises(CopyProblem, match="is no finished copy"):
        drill(on_sqlite.runtime, None, None)
    with on_sqlite.case.store.reading() as session:
        newest = newest_drill(session)
        assert newest is not None
        assert (newest.backup_id, found_by(newest)) == (data.manifest.backup_id, FAILED)


def test_a_mistyped_place_of_the_keys_is_refused_and_is_no_failed_proof(on_sqlite: Copied, tmp_path: Path) -> None:
    data, keys = on_sqlite.data(), on_sqlite.keys()
    (tmp_path / "second").mkdir()
    with ExitStack() as stack:
        theirs = make_copied(None, tmp_path / "second", stack).keys()
    said = []
    for mistyped in (keys.folder.parent, data.folder, theirs.folder):
        with pytest.raises(CopyProblem) as problem:
            drill(on_sqlite.runtime, None, mistyped)
        said.append(str(problem.value))
    assert "is no finished copy" in said[0]
    assert ["is no copy of this clinic's keys, so nothing was proved" in each for each in said[1:]] == [True, True]
    assert proofs(on_sqlite) == []
    assert drill(on_sqlite.runtime, None, keys.folder).same


def test_the_copy_of_another_clinic_proves_nothing_of_this_one(on_sqlite: Copied, tmp_path: Path) -> None:
    (tmp_path / "second").mkdir()
    with ExitStack() as stack:
        other = make_copied(None, tmp_path / "second", stack)
        with pytest.raises(CopyProblem, match="is a copy of another clinic"):
            drill(on_sqlite.runtime, other.data().folder, other.keys().folder)
    assert proofs(on_sqlite) == []


@pytest.mark.parametrize("changed", [{"program": "0.0.1"}, {"export": {}}])
def test_a_copy_of_another_version_or_without_files_is_counted_and_called_neither_same_nor_different(
    on_sqlite: Copied, changed: dict[str, Any]
) -> None:
    data, _keys = on_sqlite.data(), on_sqlite.keys()
    (data.folder / MANIFEST).write_bytes(replace(data.manifest, **changed).to_bytes())
    proof = drill(on_sqlite.runtime, None, None)
    assert (proof.same, proof.files) == (False, NOT_COMPARED)
    assert [(same, detail["files"]) for same, detail in proofs(on_sqlite)] == [(False, NOT_COMPARED)]


def test_keys_are_nowhere_but_in_their_copy_while_a_drill_runs(
    on_sqlite: Copied, monkeypatch: pytest.MonkeyPatch
) -> None:
    on_sqlite.data(), on_sqlite.keys()
    seen: list[list[str]] = []

    def look(settings: Settings, _manifest: Manifest) -> str:
        seen.append([each.name for each in settings.data.rglob("*") if each.suffix in (".key", ".pem")])
        return SAME

    monkeypatch.setattr("server.installation.drill._compare_files", look)
    drill(on_sqlite.runtime, None, None)
    assert seen == [[]]


def test_what_a_drill_or_a_copy_that_was_killed_left_goes_when_the_server_starts_or_with_the_next(
    on_sqlite: Copied,
) -> None:
    data = on_sqlite.runtime.settings.data
    left = (data / SCRATCH / "clinic", data / f"{DIGEST_FOLDERS}a1b2")
    still_there = []
    for take_away in (lambda: take_away_unless_in_use(on_sqlite.runtime), on_sqlite.data):
        for each in left:
            each.mkdir(parents=True)
            (each / "left").write_bytes(b"answers")
        take_away()
        still_there += [each for each in (data / SCRATCH, *left) if each.exists()]
    assert still_there == []


def test_a_scratch_database_has_a_name_of_its_own_and_no_other_is_ever_dropped(
    on_sqlite: Copied, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """What is said to PostgreSQL, without one: that it is done is tried above."""
    said: list[str] = []

    def execute(_connection: Any, statement: Any, *_arguments: Any) -> None:
        said.append(str(statement))

    monkeypatch.setattr(Connection, "execute", execute)
    monkeypatch.setattr(scratch, "_server", lambda _address: on_sqlite.case.store.engine)
    settings = replace(on_sqlite.runtime.settings, data=tmp_path, database_url="postgresql://y@db/clinic")
    with scratch.scratch_clinic(settings, tmp_path / "keys") as drilled:
        name = str(make_url(drilled.database_url).database)
        killed = (tmp_path / SCRATCH / "database").read_text()
    assert re.fullmatch("clinic_drill_[0-9a-f]{8}", name)
    assert said == [f'CREATE DATABASE "{name}"', f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)']
    scratch.take_away_leftovers(settings)
    assert len(said) == 2
    (tmp_path / SCRATCH).mkdir()
    (tmp_path / SCRATCH / "database").write_text(killed)
    scratch.take_away_leftovers(settings)
    assert said[2:] == [str(scratch.STOP_MAKING), f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)']


def test_a_running_drill_is_not_taken_for_one_that_was_killed(on_sqlite: Copied) -> None:
    running = on_sqlite.runtime.settings.data / SCRATCH
    running.mkdir()
    with on_sqlite.runtime.lock.copying():
        take_away_unless_in_use(on_sqlite.runtime)
    assert running.exists()


def test_after_a_restore_a_drill_says_that_an_earlier_copy_can_be_named(on_sqlite: Copied) -> None:
    with on_sqlite.case.store.writing() as session:
        session.add(Restoration(restored_at=NOW, backup_id="ab" * 16, backup_made_at=NOW))
    with pytest.raises(
        CopyProblem, match=r"no data were copied since the restore.*or name an earlier copy: --from COPY"
    ):
        drill(on_sqlite.runtime, None, None)


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
    assert (proof.same, proof.files, proof.manifest) == (False, NOT_COMPARED, manifest)
    machine = copied.new_machine("other")
    restore(machine, Wanted(folder, copied.keys("more keys").folder), now=NOW)
    runtime = opened(machine)
    with runtime.store.reading() as session:
        assert set(count_rows(session.connection())) >= set(manifest.counts)
    runtime.store.engine.dispose()
