"""The machine is lost: two copies bring the clinic back on another, its keys apart from its data and its settings with the keys."""

import shutil
from pathlib import Path

import pytest

from server.config import read_settings
from server.queries.restored import waits_for_release
from tests.cli.shell import MAIL, Shell, refusal


@pytest.fixture
def clinic(live: Shell) -> Shell:
    """Its settings stand in its folder alone, as after a set-up; the keys lie beside it."""
    live.environment.clear()
    keys = (live.data / "keys").rename(live.data.with_name("data-keys"))
    settings = {**MAIL, "YEARMARK_KEYS": str(keys)}
    lines = "".join(f"{name}='{text}'\n" for name, text in settings.items())
    (live.data / "yearmark.env").write_text(f"# the hospital's own\n{lines}", encoding="utf-8")
    return live


def copied(clinic: Shell) -> tuple[Path, Path]:
    """The copies of data and keys."""
    for command, place in (("backup", "copies"), ("backup-keys", "kept keys")):
        done = clinic.on_data(command, "--to", str(clinic.data.parent / place))
        assert done.exit_code == 0, done.output
    (data,), (keys,) = ((clinic.data.parent / place).iterdir() for place in ("copies", "kept keys"))
    return data, keys


def new_machine(clinic: Shell, name: str = "other machine") -> Shell:
    (clinic.data.parent / name).mkdir()
    return Shell(clinic.data.parent / name / "data")


def restored(machine: Shell, data: Path, *more: str) -> str:
    done = machine.on_data("restore", str(data), *more)
    assert done.exit_code == 0, done.output
    return done.stdout


def test_keys_and_settings_come_back_apart_from_the_data_and_the_clinic_starts(clinic: Shell) -> None:
    data, keys = copied(clinic)
    assert not (data / "yearmark.env").exists() and (keys / "yearmark.env").exists()
    shutil.rmtree(clinic.data)
    shutil.rmtree(clinic.data.with_name("data-keys"))
    machine = new_machine(clinic)
    said = restored(machine, data, "--keys", str(keys))
    beside = machine.data.with_name("data-keys")
    assert f"The keys were put into {beside}." in said and "was put back from the copy of the keys" in said
    assert not (machine.data / "keys").exists() and any(beside.rglob("*.pem"))
    assert not any(each.name == "yearmark.env" for each in beside.rglob("*"))
    written = (machine.data / "yearmark.env").read_text(encoding="utf-8")
    assert "# the hospital's own" in written and read_settings({}, data=machine.data).keys == beside
    assert (machine.data / "yearmark.env").stat().st_mode & 0o077 == 0
    assert machine.on_data("tick").exit_code == 0


LOST = "postgresql://yearmark@lost.harbour-shoulder.test/clinic"


@pytest.mark.parametrize("own", ["", "sqlite"])
def test_the_settings_that_come_back_name_the_database_that_was_restored_into(clinic: Shell, own: str) -> None:
    """SQLite in the data folder, or a file beside it; the lost machine's must not be opened by the next start."""
    clinic.environment["YEARMARK_DATABASE_URL"] = f"sqlite:///{clinic.data / 'yearmark.sqlite3'}"
    with (clinic.data / "yearmark.env").open("a", encoding="utf-8") as file:
        file.write(f"YEARMARK_DATABASE_URL='{LOST}'\n")
    data, keys = copied(clinic)
    machine = new_machine(clinic)
    url = own and f"sqlite:///{machine.data.with_name('chosen.sqlite3')}"
    machine.environment["YEARMARK_DATABASE_URL"] = url
    restored(machine, data, "--keys", str(keys))
    machine.environment.clear()
    assert LOST not in (machine.data / "yearmark.env").read_text(encoding="utf-8")
    found = read_settings({}, data=machine.data)
    assert found.database_url == (url or f"sqlite:///{machine.data / 'yearmark.sqlite3'}")
    runtime = machine.runtime()
    with runtime.store.reading() as session:
        assert waits_for_release(session) is not None
    runtime.store.engine.dispose()


def test_a_file_that_holds_the_address_of_the_database_is_named_and_not_copied(clinic: Shell, tmp_path: Path) -> None:
    data, keys = copied(clinic)
    machine = new_machine(clinic)
    chosen = f"sqlite:///{machine.data.with_name('chosen.sqlite3')}"
    (tmp_path / "address").write_text(chosen)
    machine.environment["YEARMARK_DATABASE_URL_FILE"] = str(tmp_path / "address")
    restored(machine, data, "--keys", str(keys))
    assert chosen not in (machine.data / "yearmark.env").read_text(encoding="utf-8")
    assert read_settings({}, data=machine.data).database_url == chosen


def test_settings_that_are_there_are_never_written_over(clinic: Shell) -> None:
    data, keys = copied(clinic)
    machine = new_machine(clinic)
    machine.data.mkdir()
    chosen = machine.data.with_name("chosen")
    own = f"YEARMARK_SMTP=mailbox\nYEARMARK_KEYS='{chosen}'\n"
    (machine.data / "yearmark.env").write_text(own, encoding="utf-8")
    said = restored(machine, data, "--keys", str(keys))
    assert "was left as it is" in said and f"The keys were put into {chosen}." in said
    assert (machine.data / "yearmark.env").read_text(encoding="utf-8") == own


def test_settings_that_are_there_and_name_another_database_stop_the_restore(clinic: Shell) -> None:
    data, keys = copied(clinic)
    machine = new_machine(clinic)
    machine.data.mkdir()
    (machine.data / "yearmark.env").write_text(f"YEARMARK_DATABASE_URL='{LOST}'\n", encoding="utf-8")
    machine.environment["YEARMARK_DATABASE_URL"] = f"sqlite:///{machine.data / 'yearmark.sqlite3'}"
    said = refusal(machine.on_data("restore", str(data), "--keys", str(keys)))
    assert "names another database than YEARMARK_DATABASE_URL" in said and "Nothing was changed" in said
    assert [each.name for each in machine.data.iterdir()] == ["yearmark.env"]


def test_a_copy_of_keys_without_settings_leads_to_a_mail_server(clinic: Shell) -> None:
    (clinic.data / "yearmark.env").unlink()
    clinic.environment.update(MAIL, YEARMARK_KEYS=str(clinic.data.with_name("data-keys")))
    data, keys = copied(clinic)
    machine = new_machine(clinic)
    said = restored(machine, data, "--keys", str(keys))
    assert "a new one says where the keys lie" in said and f"yearmark set-up --data {machine.data}" in said
    assert read_settings({}, data=machine.data).keys == machine.data.with_name("data-keys")


def test_keys_that_survived_beside_the_lost_folder_are_found(clinic: Shell) -> None:
    data, _keys = copied(clinic)
    shutil.rmtree(clinic.data)
    assert f"The keys are in {clinic.data.with_name('data-keys')}." in restored(clinic, data)
    clinic.environment.update(MAIL)
    assert clinic.on_data("tick").exit_code == 0


def test_a_password_file_that_is_not_here_is_said_and_does_not_stop_the_restore(clinic: Shell, tmp_path: Path) -> None:
    password = tmp_path / "password"
    password.write_text("it is a secret")
    with (clinic.data / "yearmark.env").open("a", encoding="utf-8") as file:
        file.write(f"YEARMARK_SMTP_PASSWORD_FILE='{password}'\n")
    data, keys = copied(clinic)
    password.unlink()
    machine = new_machine(clinic)
    said = restored(machine, data, "--keys", str(keys))
    assert f"YEARMARK_SMTP_PASSWORD_FILE names {password}, which cannot be read" in said
    assert "names" in refusal(machine.on_data("tick"))
    password.write_text("it is a secret")
    assert machine.on_data("tick").exit_code == 0


def test_a_folder_that_the_account_was_given_for_the_keys_is_filled_where_it_lies(clinic: Shell) -> None:
    """As the account finds it that may make nothing beside it: the folder is the same one afterwards."""
    data, keys = copied(clinic)
    machine = new_machine(clinic)
    beside = machine.data.with_name("data-keys")
    beside.mkdir(mode=0o700)
    given = beside.stat().st_ino
    restored(machine, data, "--keys", str(keys))
    assert beside.stat().st_ino == given and any(beside.rglob("*.key"))


def test_a_restore_that_fails_leaves_neither_keys_nor_settings(clinic: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    data, keys = copied(clinic)
    machine = new_machine(clinic)

    def fails(*_of: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr("server.installation.restore._open_and_note", fails)
        assert "the disk is full" in machine.on_data("restore", str(data), "--keys", str(keys)).stderr
    beside = machine.data.with_name("data-keys")
    assert not (machine.data / "yearmark.env").exists() and not any(beside.rglob("*"))
    restored(machine, data, "--keys", str(keys))
