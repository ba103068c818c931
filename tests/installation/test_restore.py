"""A clinic comes back out of a copy as it was, or nothing is changed and a sentence says why and what to do."""

import json
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import make_url, select

from server.config import ENVIRONMENT_FILE, Settings
from server.exports import export_digest
from server.installation.backup import Copy
from server.installation.restore import Wanted, restore
from server.installation.runtime import Runtime
from server.installation.set_up import RESTORE_UNFINISHED, NotReady, check_ready
from server.models import AuditEntry, Patient, StaffInvitation, StaffSession
from server.queries.restored import waits_for_release
from server.staff.account.accounts import create_account
from server.trust.backup.databases import FILES
from server.trust.backup.manifest import CopyProblem, entry_of
from tests.clinic_case import NOW
from tests.installation.copied import Copied, copied, make_copied, on_sqlite, opened

__all__ = ["copied", "on_sqlite"]

LATER = NOW + timedelta(hours=7)


def bring_back(settings: Settings, data: Copy, keys: Copy | None) -> None:
    restore(settings, Wanted(data.folder, keys.folder if keys else None), now=LATER)


@contextmanager
def running(settings: Settings) -> Iterator[Runtime]:
    runtime = opened(settings)
    yield runtime
    runtime.store.engine.dispose()


def begun(settings: Settings, said: str = "") -> None:
    """As a restore leaves it that was killed in the middle."""
    address = make_url(settings.database_url).set(password=None).render_as_string()
    first = "A restore was begun and not finished. Restore again: it starts anew."
    (settings.data / RESTORE_UNFINISHED).write_text(f"{first}\nDatabase: {address}\n{said}")


def everything_in(folder: Path) -> dict[str, bytes]:
    return {str(file.relative_to(folder)): file.read_bytes() for file in folder.rglob("*") if file.is_file()}


def refused(settings: Settings, data: Path, keys: Path | None = None) -> str:
    """What is said; and that nothing was changed."""
    before = everything_in(settings.data)
    with pytest.raises(CopyProblem) as problem:
        restore(settings, Wanted(data, keys), now=LATER)
    after = {name: content for name, content in everything_in(settings.data).items() if not name.startswith("locks/")}
    assert after == {name: content for name, content in before.items() if not name.startswith("locks/")}
    return str(problem.value)


def test_a_lost_machine_comes_back_as_it_was_and_sends_nothing_yet(copied: Copied) -> None:
    data, keys, machine = copied.data(), copied.keys(), copied.new_machine("other machine")
    bring_back(machine, data, keys)
    with running(machine) as runtime:
        check_ready(runtime)
        with runtime.store.reading() as session:
            assert sorted(session.scalars(select(Patient.first_name))) == ["Ada", "Ben"]
            waiting = waits_for_release(session)
            assert waiting is not None
            assert (waiting.backup_id, waiting.backup_made_at) == (data.manifest.backup_id, data.manifest.made_at)
            assert waiting.restored_at == LATER
            assert (
                session.scalars(select(AuditEntry.action).order_by(AuditEntry.id.desc())).first() == "clinic:restored"
            )
            now = copied.case.now
            digest = export_digest(
                session, runtime.store.ring, runtime.keys.patient_cipher, runtime.library, machine.data, now=now
            )
    assert digest == data.manifest.export["sha256"]
    assert not (machine.data / RESTORE_UNFINISHED).exists()
    assert [file.name for file in machine.keys.rglob("*") if file.is_file() and file.stat().st_mode & 0o077] == []


def test_keys_that_were_put_there_by_hand_are_used(on_sqlite: Copied) -> None:
    data, keys, machine = on_sqlite.data(), on_sqlite.keys(), on_sqlite.new_machine("other")
    for name in keys.manifest.files:
        file = machine.keys / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes((keys.folder / name).read_bytes())
    bring_back(machine, data, None)
    with running(machine) as runtime, runtime.store.reading() as session:
        assert sorted(session.scalars(select(Patient.first_name))) == ["Ada", "Ben"]


def test_whoever_was_signed_in_is_not_any_more_and_no_invitation_is_open(on_sqlite: Copied) -> None:
    with on_sqlite.case.store.writing() as session:
        account = create_account(session, "nora@clinic.example", "Nora Pennyreed", "nurse", None, NOW)
        session.add(StaffInvitation(account_id=account.id, secret_hash=b"1", made_at=NOW, ends_at=LATER))
        times = {"made_at": NOW, "last_seen_at": NOW, "expires_at": LATER}
        session.add(StaffSession(account_id=account.id, secret_hash=b"2", stage="in", form_secret="3", **times))
    data, keys, machine = on_sqlite.data(), on_sqlite.keys(), on_sqlite.new_machine("other")
    bring_back(machine, data, keys)
    with running(machine) as runtime, runtime.store.reading() as session:
        assert session.scalars(select(StaffSession)).all() == []
        assert session.scalars(select(StaffInvitation)).all() == []


def test_one_flipped_byte_is_found_in_data_and_in_keys(on_sqlite: Copied) -> None:
    data, keys = on_sqlite.data(), on_sqlite.keys()
    said = []
    for folder in (keys.folder, data.folder):
        file = next(each for each in sorted(folder.rglob("*")) if each.is_file() and each.name != "manifest.json")
        content = bytearray(file.read_bytes())
        content[len(content) // 2] ^= 1
        file.write_bytes(content)
        said.append(refused(on_sqlite.new_machine("other"), data.folder, keys.folder))
    assert ["its SHA-256 differs. Nothing was changed" in each for each in said] == [True, True]


def test_a_folder_that_is_no_copy_or_an_altered_manifest_is_refused(on_sqlite: Copied) -> None:
    data = on_sqlite.data()
    machine = on_sqlite.new_machine("other")
    assert "is no finished copy" in refused(machine, on_sqlite.folder / "copies")
    content = json.loads((data.folder / "manifest.json").read_text())
    for altered in (b"{", b"[]", json.dumps({**content, "files": {"../x": {"sha256": "0", "bytes": 1}}}).encode()):
        (data.folder / "manifest.json").write_bytes(altered)
        assert "Nothing was changed. Take another copy" in refused(machine, data.folder)


def test_a_copy_with_a_file_more_or_without_its_database_is_refused(on_sqlite: Copied) -> None:
    data, keys, machine = on_sqlite.data(), on_sqlite.keys(), on_sqlite.new_machine("other")
    for folder, left in ((data.folder, "database.sqlite3-wal"), (keys.folder, "field/00000000.key")):
        (folder / left).write_bytes(b"put there")
        assert f"{left} is not in the manifest of this copy" in refused(machine, data.folder, keys.folder)
        (folder / left).unlink()
    (data.folder / FILES["sqlite"]).rename(data.folder.parent / "elsewhere")
    (data.folder / "manifest.json").write_bytes(replace(data.manifest, files={}).to_bytes())
    assert "does not name the one file of the data. Nothing was" in refused(machine, data.folder, keys.folder)


def test_without_the_keys_or_with_those_of_another_clinic_nothing_is_written(on_sqlite: Copied, tmp_path: Path) -> None:
    data, machine = on_sqlite.data(), on_sqlite.new_machine("other")
    assert "does not hold the keys of Test Clinic (invented)" in refused(machine, data.folder)
    (tmp_path / "second").mkdir()
    with ExitStack() as stack:
        other = make_copied(None, tmp_path / "second", stack)
        said = refused(machine, data.folder, other.keys().folder)
        assert "holds no keys of Test Clinic (invented)" in said
        bring_back(on_sqlite.new_machine("theirs"), other.data(), other.keys("keys again"))
    theirs, alone = on_sqlite.new_machine("theirs"), on_sqlite.new_machine("alone")
    assert "holds data already" in refused(theirs, data.folder, on_sqlite.keys().folder)
    shutil.copytree(theirs.keys, alone.keys)
    assert "holds other keys already" in refused(alone, data.folder, on_sqlite.keys().folder)
    assert "does not hold the keys of" in refused(alone, data.folder)


def test_keys_that_are_older_than_the_data_are_refused_and_leave_nothing(copied: Copied) -> None:
    keys = copied.keys()
    copied.case.enrol(first_name="Cleo", last_name="Cedar")
    data, machine = copied.data(), copied.new_machine("other")
    assert "1 of 3 patients has no key" in refused(machine, data.folder, keys.folder)
    assert not machine.keys.exists()
    bring_back(machine, data, copied.keys())


def test_a_folder_with_data_is_never_written_over(copied: Copied) -> None:
    data, keys, machine = copied.data(), copied.keys(), copied.new_machine("other")
    bring_back(machine, data, keys)
    assert "Nothing was changed. Name an empty" in refused(machine, data.folder)
    if copied.runtime.store.engine.dialect.name == "postgresql":
        elsewhere = replace(copied.new_machine("third"), database_url=machine.database_url)
        assert "holds tables already" in refused(elsewhere, data.folder, keys.folder)


def test_while_it_is_unfinished_nothing_opens_the_folder_and_a_second_restore_starts_anew(copied: Copied) -> None:
    data, keys, machine = copied.data(), copied.keys(), copied.new_machine("other")
    bring_back(machine, data, keys)
    begun(machine)
    with running(machine) as runtime, pytest.raises(NotReady, match="begun and not finished; run `yearmark restore`"):
        check_ready(runtime)
    bring_back(machine, data, None)
    with running(machine) as runtime:
        check_ready(runtime)


def test_a_second_restore_empties_only_the_database_of_the_first(on_sqlite: Copied) -> None:
    data, keys = on_sqlite.data(), on_sqlite.keys()
    machine, other = on_sqlite.new_machine("other"), on_sqlite.new_machine("in use")
    bring_back(other, data, keys)
    bring_back(machine, data, keys)
    begun(machine)
    said = refused(replace(machine, database_url=other.database_url), data.folder)
    assert "was begun with another database than YEARMARK_DATABASE_URL names now" in said
    with running(other) as runtime:
        check_ready(runtime)


def test_a_second_restore_deletes_no_keys_but_those_that_the_first_has_put(on_sqlite: Copied) -> None:
    data, keys = on_sqlite.data(), on_sqlite.keys()
    machine, other = on_sqlite.new_machine("other"), on_sqlite.new_machine("in use")
    bring_back(other, data, keys)
    bring_back(machine, data, keys)
    begun(machine, f"The keys were brought back by it too, into {machine.keys}\n")
    before = everything_in(other.keys)
    for copy in (keys.folder, None):
        said = refused(replace(machine, keys=other.keys), data.folder, copy)
        assert "was begun with another key folder than YEARMARK_KEYS names now" in said
    assert everything_in(other.keys) == before != {}
    (machine.keys / "half a key").write_bytes(b"as the first left it")
    bring_back(machine, data, keys)
    assert everything_in(machine.keys) == before


def test_keys_of_a_mark_that_names_no_folder_are_not_deleted(on_sqlite: Copied) -> None:
    """As an earlier version wrote it."""
    data, keys, machine = on_sqlite.data(), on_sqlite.keys(), on_sqlite.new_machine("other")
    bring_back(machine, data, keys)
    begun(machine, "The keys were brought back by it too.\n")
    before = everything_in(machine.keys)
    assert "holds other keys already" in refused(machine, data.folder, keys.folder)
    assert everything_in(machine.keys) == before != {}


@pytest.mark.parametrize("name", [RESTORE_UNFINISHED, ENVIRONMENT_FILE])
def test_what_a_restore_or_a_set_up_killed_at_its_first_step_left_is_no_data(on_sqlite: Copied, name: str) -> None:
    data, keys, machine = on_sqlite.data(), on_sqlite.keys(), on_sqlite.new_machine("other")
    machine.data.mkdir()
    half = machine.data / f".{name}.0a1b2c3d"
    half.write_bytes(b"A rest")
    bring_back(machine, data, keys)
    assert not half.exists()


def test_no_password_stands_in_what_says_that_a_restore_is_unfinished(
    on_sqlite: Copied, monkeypatch: pytest.MonkeyPatch
) -> None:
    data, keys, machine = on_sqlite.data(), on_sqlite.keys(), on_sqlite.new_machine("other")
    said: list[str] = []
    monkeypatch.setattr(
        "server.installation.restore._load",
        lambda settings, *_: said.append((settings.data / RESTORE_UNFINISHED).read_text()),
    )
    monkeypatch.setattr("server.installation.restore._open_and_note", lambda *_: None)
    monkeypatch.setattr("server.installation.restore.check_copy", lambda *_: data.manifest)
    monkeypatch.setattr("server.installation.restore._refuse_what_is_there", lambda *_: None)
    url = "postgresql://y:s3cret@db/clinic?sslpassword=k3y"
    bring_back(replace(machine, database_url=url), data, keys)
    [mark] = said
    assert "postgresql://y@db/clinic\n" in mark


def test_a_second_restore_with_the_keys_that_are_there_leaves_them_there(on_sqlite: Copied) -> None:
    data, keys, machine = on_sqlite.data(), on_sqlite.keys(), on_sqlite.new_machine("other")
    bring_back(machine, data, keys)
    begun(machine, f"The keys were brought back by it too, into {machine.keys}\n")
    before = everything_in(machine.keys)
    bring_back(machine, data, None)
    assert everything_in(machine.keys) == before
    with running(machine) as runtime:
        check_ready(runtime)


def test_the_copy_of_the_keys_is_no_copy_of_the_data(on_sqlite: Copied) -> None:
    data, keys = on_sqlite.data(), on_sqlite.keys()
    machine = on_sqlite.new_machine("other")
    assert "is a copy of keys; name one of the data" in refused(machine, keys.folder)
    assert "holds no keys of" in refused(machine, data.folder, data.folder)
    assert entry_of(data.folder / FILES["sqlite"]) == data.manifest.files[FILES["sqlite"]]
