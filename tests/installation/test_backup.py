"""Copies beside a running clinic: whole or not there, keys apart from data, nobody's name in what stands in clear."""

import errno
import os
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from server.cli.opening import Refusal, plainly
from server.crypto.fields import FieldProblem
from server.exports import ExportProblem
from server.installation.backup import copy_data, copy_keys
from server.models import AuditEntry, BackupCopy, Patient
from server.queries.copies import newest_copy
from server.store.folder_lock import FolderBusy
from server.trust.backup.databases import PAGES_AT_ONCE
from server.trust.backup.manifest import CopyProblem, entry_of
from server.trust.backup.place import UNFINISHED, verify
from tests.installation.copied import Copied, copied, on_sqlite

__all__ = ["copied", "on_sqlite"]


def names_in(place: Path) -> list[str]:
    return sorted(each.name for each in place.iterdir())


def test_a_copy_of_the_data_is_whole_noted_and_audited(copied: Copied) -> None:
    with copied.runtime.lock.serving():  # as a running server holds it
        made = copied.data()
    manifest = verify(made.folder)
    assert manifest == made.manifest
    assert len(manifest.files) == 1
    assert (manifest.counts["patient"], manifest.counts["response"]) == (2, 1)
    assert set(manifest.export) == {"now", "sha256"}
    with copied.case.store.reading() as session:
        row = newest_copy(session, "data")
        assert row is not None
        assert (row.backup_id, row.place, row.length) == (manifest.backup_id, str(made.folder), manifest.length)
        assert row.sha256.hex() == entry_of(made.folder / "manifest.json").sha256
        assert session.scalars(select(AuditEntry.action).where(AuditEntry.thing == f"backup_copy {row.id}")).all() == [
            "backup:made"
        ]


def test_what_is_written_meanwhile_is_not_in_the_copy_and_does_not_start_it_anew(
    on_sqlite: Copied, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("server.trust.backup.databases.PAGES_AT_ONCE", 3)
    assert PAGES_AT_ONCE > 3
    told: list[int] = []

    def progress(done: int, _pages: int) -> None:
        if not told:
            on_sqlite.case.enrol(first_name="Cleo", last_name="Cedar")
        told.append(done)

    made = copy_data(on_sqlite.runtime, on_sqlite.folder / "copies", progress)
    assert len(told) > 20
    assert told == sorted(told)
    assert made.manifest.counts["patient"] == 2
    assert on_sqlite.data().manifest.counts["patient"] == 3


def test_keys_are_copied_apart_and_never_into_the_place_of_the_data(on_sqlite: Copied) -> None:
    data, keys = on_sqlite.data(), on_sqlite.keys()
    assert len(keys.manifest.files) == 4  # a field key, a sealing key, two patients
    assert [name for name in data.manifest.files if "key" in name] == []
    for refused in (on_sqlite.folder / "copies", on_sqlite.folder / "copies" / "keys", on_sqlite.folder):
        with pytest.raises(CopyProblem, match=r"whoever takes both reads everything|is lost together with"):
            copy_keys(on_sqlite.runtime, refused)
    with pytest.raises(CopyProblem, match="whoever takes both reads everything"):
        copy_data(on_sqlite.runtime, on_sqlite.folder / "keys-elsewhere")
    assert names_in(on_sqlite.folder / "copies") == [data.folder.name]


@pytest.mark.parametrize(
    ("gone", "said"), [("sealing/*.pem", "own sealing key is not"), ("patient/*/*.key", "keys of patients are not")]
)
def test_without_keys_that_are_needed_no_copy_of_the_keys_is_made(on_sqlite: Copied, gone: str, said: str) -> None:
    for file in on_sqlite.runtime.keys.folder.glob(gone):
        file.unlink()
    with pytest.raises(CopyProblem, match=f"no copy of the keys was made: .*{said}"):
        on_sqlite.keys()
    assert not (on_sqlite.folder / "keys-elsewhere").exists()


def test_without_the_key_of_one_patient_of_long_ago_no_copy_of_the_keys_is_made(on_sqlite: Copied) -> None:
    with on_sqlite.case.store.reading() as session:
        first = session.scalars(select(Patient.handle).order_by(Patient.id)).first()
    for number in range(5):  # more than a starting server looks at
        on_sqlite.case.enrol(first_name=f"Cleo {number}", last_name="Cedar")
    on_sqlite.runtime.keys.erase_patient_key(str(first))
    with pytest.raises(CopyProblem, match="no copy of the keys was made: 1 of 7 patients has no key"):
        on_sqlite.keys()


def test_a_place_inside_the_data_folder_is_refused(on_sqlite: Copied) -> None:
    with pytest.raises(CopyProblem, match="is lost together with"):
        copy_data(on_sqlite.runtime, on_sqlite.runtime.settings.data / "copies")


def test_no_manifest_names_a_patient(on_sqlite: Copied) -> None:
    said = [(copy.folder / "manifest.json").read_text() for copy in (on_sqlite.data(), on_sqlite.keys())]
    assert len(said) == 2
    assert [name for text in said for name in ("Ada", "Arden", "Ben", "Birch", "1952") if name in text] == []


def test_old_copies_go_by_the_rule_and_others_in_the_place_stay(on_sqlite: Copied) -> None:
    foreign = on_sqlite.folder / "copies" / "holiday pictures"
    foreign.mkdir(parents=True)
    made = []
    for _ in range(3):
        made.append(on_sqlite.data())
        on_sqlite.case.now += timedelta(minutes=1)
    on_sqlite.case.now += timedelta(days=60)
    last = on_sqlite.data()
    assert last.taken_away == (made[0].folder, made[1].folder)
    assert names_in(on_sqlite.folder / "copies") == [made[2].folder.name, last.folder.name, foreign.name]


def test_two_copies_at_once_are_one_after_the_other(on_sqlite: Copied) -> None:
    with on_sqlite.runtime.lock.copying(), pytest.raises(FolderBusy, match="another copy of this data folder"):
        on_sqlite.data()


def _full(_descriptor: int) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@pytest.mark.parametrize("make", [Copied.data, Copied.keys])
def test_on_a_full_disk_nothing_is_left_and_earlier_copies_stay(
    on_sqlite: Copied, make: Callable[[Copied], Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    earlier = make(on_sqlite)
    monkeypatch.setattr(os, "fsync", _full)
    on_sqlite.case.now += timedelta(minutes=1)
    with pytest.raises(CopyProblem, match=r"the disk is full; no copy was made.*earlier copies are as they were"):
        make(on_sqlite)
    assert names_in(earlier.folder.parent) == [earlier.folder.name]
    with on_sqlite.case.store.reading() as session:
        assert len(session.scalars(select(BackupCopy)).all()) == 1


def test_what_a_copy_that_was_broken_off_left_goes_with_the_next_one(on_sqlite: Copied) -> None:
    made = on_sqlite.data()
    left = made.folder.parent / f"{UNFINISHED}{made.manifest.clinic}-2026-06-15T080000Z-0a1b2c3d"
    left.mkdir()
    (left / "database.sqlite3").write_bytes(b"half")
    on_sqlite.case.now += timedelta(minutes=1)
    again = on_sqlite.data()
    assert names_in(again.folder.parent) == [made.folder.name, again.folder.name]


@pytest.mark.parametrize("problem", [FieldProblem("a value does not open"), OSError(errno.EACCES, "no room")])
def test_whatever_stops_the_files_the_data_are_copied_all_the_same(
    on_sqlite: Copied, monkeypatch: pytest.MonkeyPatch, problem: Exception
) -> None:
    def fails(*_arguments: Any, **_named: Any) -> str:
        raise problem

    monkeypatch.setattr("server.installation.backup.export_digest", fails)
    made = on_sqlite.data()
    assert verify(made.folder).export == {}
    assert made.manifest.counts["response"] == 1


def test_a_name_that_does_not_open_is_said_in_a_sentence() -> None:
    with pytest.raises(Refusal, match=r"does not open\. Nothing is lost\. The key folder does not belong"), plainly():
        raise FieldProblem("a value of patient.first_name does not open")


def test_the_files_that_are_compared_are_written_in_the_data_folder_and_for_nobody_else(
    on_sqlite: Copied, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[tuple[Path, int]] = []

    def look(_reader: Any, folder: Path, _progress: Any) -> Any:
        seen.append((folder.parent.parent, folder.parent.stat().st_mode & 0o077))
        raise ExportProblem("seen enough")

    monkeypatch.setattr("server.exports.write._write_files", look)
    on_sqlite.data()
    assert seen == [(on_sqlite.runtime.settings.data, 0)]


def test_without_a_patients_key_the_data_are_copied_all_the_same(on_sqlite: Copied) -> None:
    [key, *_] = sorted((on_sqlite.runtime.keys.folder / "patient").rglob("*.key"))
    for file in sorted((on_sqlite.runtime.keys.folder / "patient").rglob("*.key")):
        file.unlink()
    made = on_sqlite.data()
    assert not key.exists()
    assert made.manifest.export == {}
    assert made.manifest.counts["response"] == 1
