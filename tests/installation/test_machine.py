"""What the machine can have wrong: modes, owner, clock, zone, disk, keys beside the data. Each both ways."""

import dataclasses
import json
from datetime import timedelta
from pathlib import Path
from shutil import _ntuple_diskusage

import pytest
from sqlalchemy.orm import Session

from server.config import ENVIRONMENT_FILE
from server.installation import checks_of_the_machine as machine
from server.installation.checks_of_copies import data_are_copied, keys_are_copied, restore_is_proved
from server.installation.finding import Check, Finding, Look
from server.installation.private_files import files_of
from server.models import BackupCopy, RestoreProof
from server.queries.clock import the_clinic
from server.trust.audit import audit
from tests.clinic_case import Case
from tests.installation.conftest import changed

# PostgreSQL differs in one check, which is asked there too.
pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True, scope="module")


def found(case: Case, check: Check, later: timedelta = timedelta()) -> Finding:
    with case.store.reading() as session:
        return check(Look(case.runtime, session, the_clinic(session), case.now + later))


def said(finding: Finding) -> str:
    assert not finding.ready
    return finding.what.text % {name: str(value) for name, value in finding.what.values.items()}


def test_a_demo_is_never_ready(live: Case) -> None:
    assert found(live, machine.is_live).ready
    changed(live, mode="demo")
    assert "This is the demo" in said(found(live, machine.is_live))


def test_a_file_that_others_can_read_is_found(live: Case) -> None:
    key = next(live.runtime.keys.folder.rglob("*.key"))
    for path in files_of(live.runtime.settings):
        if path.exists():
            path.chmod(path.stat().st_mode & 0o700)
    assert found(live, machine.files_are_private).ready
    key.chmod(0o640)
    assert str(key) in said(found(live, machine.files_are_private))


def test_what_a_set_up_that_was_killed_left_of_its_passwords_is_found_too(live: Case) -> None:
    half = live.runtime.settings.data / f".{ENVIRONMENT_FILE}.0a1b2c3d"
    half.touch(0o600)
    for path in files_of(live.runtime.settings):
        if path.exists():
            path.chmod(path.stat().st_mode & 0o700)
    assert found(live, machine.files_are_private).ready
    half.chmod(0o640)
    assert str(half) in said(found(live, machine.files_are_private))


def test_a_file_of_another_account_is_found(live: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    mine = live.runtime.settings.data
    assert machine.of_another_account([mine, mine / "not there"]) == []
    somebody_else = mine.stat().st_uid + 1
    monkeypatch.setattr("os.geteuid", lambda: somebody_else)
    assert machine.of_another_account([mine]) == [mine]


def test_a_clock_that_was_set_back_a_day_is_found(live: Case) -> None:
    with live.store.writing() as session:
        audit(session, "clinic:changed", "clinic 1", now=live.now)
    assert found(live, machine.clock_runs_forward).ready
    assert found(live, machine.clock_runs_forward, -timedelta(minutes=4)).ready
    told = said(found(live, machine.clock_runs_forward, -timedelta(days=1)))
    assert "2026-06-14 09:00" in told and "2026-06-15 09:00" in told


@pytest.mark.parametrize(("zone", "ready"), [("Europe/Madrid", True), ("UTC", False), ("Etc/GMT+1", False)])
def test_a_zone_where_no_clinic_lies_is_found(live: Case, zone: str, ready: bool) -> None:
    changed(live, time_zone=zone)
    assert found(live, machine.zone_is_a_place).ready == ready


@pytest.mark.parametrize(("free", "ready"), [(2 * machine.LEAST_ROOM, True), (machine.LEAST_ROOM - 1, False)])
def test_a_disk_that_is_nearly_full_is_found(
    live: Case, monkeypatch: pytest.MonkeyPatch, free: int, ready: bool
) -> None:
    monkeypatch.setattr("shutil.disk_usage", lambda _path: _ntuple_diskusage(free * 2, free, free))
    assert found(live, machine.disk_has_room).ready == ready


def test_a_large_database_wants_more_room(live: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shutil.disk_usage", lambda _path: _ntuple_diskusage(0, 0, 2 * machine.LEAST_ROOM))
    monkeypatch.setattr(machine, "database_bytes", lambda _look: machine.LEAST_ROOM)
    assert "2048 MB are free" in said(found(live, machine.disk_has_room))


def test_keys_in_the_data_folder_are_found(live: Case, tmp_path: Path) -> None:
    assert "The keys lie in the data folder" in said(found(live, machine.keys_lie_apart))
    apart = dataclasses.replace(live.runtime.settings, keys=tmp_path.parent / "elsewhere")
    live.runtime = dataclasses.replace(live.runtime, settings=apart)
    assert found(live, machine.keys_lie_apart).ready


def test_data_and_keys_that_were_never_copied_and_a_restore_never_proved_are_found(live: Case) -> None:
    assert "never copied" in said(found(live, data_are_copied)) and "never copied" in said(found(live, keys_are_copied))
    assert "No copy was ever restored" in said(found(live, restore_is_proved))
    with live.store.writing() as session:
        _copied(session, live, "data")
        _copied(session, live, "keys")
        proof = {"proved_at": live.now, "backup_id": "a", "backup_made_at": live.now, "detail": "{}"}
        session.add(RestoreProof(same=True, **proof))
    assert found(live, data_are_copied).ready and found(live, keys_are_copied).ready
    assert found(live, restore_is_proved).ready
    assert "last copied on" in said(found(live, data_are_copied, timedelta(days=3)))
    assert "last copied on" in said(found(live, keys_are_copied, timedelta(days=3)))
    assert found(live, restore_is_proved, timedelta(days=92)).ready
    assert "last restored" in said(found(live, restore_is_proved, timedelta(days=93)))
    for files, words in (("not compared", "nothing else compared"), ("failed", "has failed or found something else")):
        with live.store.writing() as session:
            session.add(RestoreProof(same=False, **{**proof, "detail": json.dumps({"files": files})}))
        assert words in said(found(live, restore_is_proved))


def _copied(session: Session, case: Case, kind: str) -> None:
    row = {"backup_id": "a", "made_at": case.now, "place": "there", "length": 1, "sha256": b"x"}
    session.add(BackupCopy(kind=kind, **row))
