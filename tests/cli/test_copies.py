"""`yearmark backup`, `backup-keys`, `restore` and `drill` as they are typed: exit codes, what is printed, and what bad input gets."""

import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

from server.store.folder_lock import FolderLock
from tests.cli.shell import MAIL, Shell, refusal

MANIFEST, DATABASE = "manifest.json", "database.sqlite3"
DIFFERENT = 1


@dataclass(frozen=True)
class Copies:
    """A clinic and a copy of its data and of its keys, or copies of those that a test may alter."""

    clinic: Shell
    data: Path
    keys: Path

    def restore(self, into: Shell, *words: str) -> Result:
        return into.on_data("restore", str(self.data), *(words or ("--keys", str(self.keys))))

    def drill(self) -> Result:
        return self.clinic.on_data("drill", "--from", str(self.data), "--keys", str(self.keys))

    def alter(self, **members: Any) -> None:
        """The manifest of the data."""
        file = self.data / MANIFEST
        file.write_text(json.dumps({**json.loads(file.read_text()), **members}))


def made(folder: Path, live_folder: Path) -> Copies:
    clinic = Shell(folder / "data", dict(MAIL))
    shutil.copytree(live_folder, clinic.data)
    places = {"backup": folder / "copies", "backup-keys": folder / "keys-elsewhere"}
    for command, place in places.items():
        assert clinic.on_data(command, "--to", str(place)).exit_code == 0
    (data,), (keys,) = (place.iterdir() for place in places.values())
    return Copies(clinic, data, keys)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory, live_folder: Path) -> Copies:
    """The copies are read only."""
    return made(tmp_path_factory.mktemp("copies"), live_folder)


@pytest.fixture
def copies(kept: Copies, tmp_path: Path) -> Copies:
    """Which may be altered; the clinic is the same for all."""
    data, keys = tmp_path / "data-copy", tmp_path / "keys-copy"
    shutil.copytree(kept.data, data)
    shutil.copytree(kept.keys, keys)
    return Copies(kept.clinic, data, keys)


@pytest.fixture
def new(tmp_path: Path) -> Shell:
    """A machine on which nothing is yet."""
    return Shell(tmp_path / "new machine", dict(MAIL))


def test_both_copies_are_named_with_what_to_do_next(live: Shell, tmp_path: Path) -> None:
    data = live.on_data("backup", "--to", str(tmp_path / "copies"))
    [folder] = (tmp_path / "copies").iterdir()
    length = (folder / DATABASE).stat().st_size
    assert data.exit_code == 0
    assert f"{folder}: {length} bytes, read again. Copy the keys too: yearmark backup-keys" in data.stdout
    assert "on the disk of the data and dies with it" in data.stderr
    keys = live.on_data("backup-keys", "--to", str(tmp_path / "keys"))
    [folder] = (tmp_path / "keys").iterdir()
    assert keys.exit_code == 0
    assert f"{folder}: 2 keys, read again. Keep them apart from the data." in keys.stdout
    assert [file for file in folder.rglob("*") if file.stat().st_mode & 0o077] == []


@pytest.mark.parametrize("command", ["backup", "backup-keys"])
def test_a_place_that_is_lost_with_the_data_is_refused(live: Shell, command: str) -> None:
    for place in (live.data, live.data / "copies", live.data / "keys", live.data.parent):
        assert "is lost together with" in refusal(live.on_data(command, "--to", str(place)))
    assert not (live.data / "copies").exists()


def test_data_and_keys_in_one_place_are_refused(kept: Copies) -> None:
    places = {"backup": kept.keys.parent, "backup-keys": kept.data.parent}
    said = [refusal(kept.clinic.on_data(command, "--to", str(place))) for command, place in places.items()]
    assert ["whoever takes both reads everything" in each for each in said] == [True, True]
    assert [len(list(place.iterdir())) for place in places.values()] == [1, 1]


def test_a_lost_clinic_comes_back_and_is_told_that_nothing_is_sent_yet(kept: Copies, new: Shell) -> None:
    said = kept.restore(new)
    assert said.exit_code == 0, said.output
    assert f"is restored in {new.data} as it was on" in said.stdout
    assert "Nothing is sent yet: start the server, and a data manager releases it" in said.stdout
    assert new.on_data("backup", "--to", str(new.data.parent / "copies")).exit_code == 0


def cut_in_half(copies: Copies) -> None:
    file = copies.data / DATABASE
    file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])


def flipped(copies: Copies) -> None:
    content = bytearray((copies.data / DATABASE).read_bytes())
    content[len(content) // 2] ^= 1
    (copies.data / DATABASE).write_bytes(content)


def key_missing(copies: Copies) -> None:
    next(copies.keys.rglob("*.pem")).unlink()


SPOILT: dict[str, tuple[Callable[[Copies], None], str]] = {
    "cut in half": (cut_in_half, "is cut short, too long or missing. Nothing was changed"),
    "one flipped byte": (flipped, "its SHA-256 differs. Nothing was changed"),
    "of a newer version": (
        lambda copies: copies.alter(revision="9999"),
        "install that version, then restore. Nothing was",
    ),
    "of another clinic": (lambda copies: copies.alter(clinic="other"), "holds no keys of"),
    "without a manifest": (lambda copies: (copies.data / MANIFEST).unlink(), "is no finished copy"),
    "a key missing": (key_missing, "is cut short, too long or missing. Nothing was changed"),
}


@pytest.mark.parametrize(("spoil", "said"), SPOILT.values(), ids=SPOILT)
def test_a_copy_that_cannot_be_trusted_is_not_restored(
    copies: Copies, new: Shell, spoil: Callable[[Copies], None], said: str
) -> None:
    spoil(copies)
    assert said in refusal(copies.restore(new))
    assert not new.data.exists()


def test_without_keys_nothing_is_restored(kept: Copies, new: Shell) -> None:
    said = refusal(kept.restore(new, "--keys", str(kept.keys.parent / "mistyped")))
    assert "mistyped is no finished copy" in said
    said = refusal(new.on_data("restore", str(kept.data)))
    assert "does not hold the keys of" in said and "Name a copy of its keys: --keys FOLDER" in said
    assert not new.data.exists()


def test_a_folder_with_data_is_not_restored_into(kept: Copies, live: Shell) -> None:
    """Of its keys nothing is said: nobody is to take them away from a living clinic."""
    before = (live.data / "yearmark.sqlite3").read_bytes()
    said = refusal(kept.restore(live))
    assert "holds data already (yearmark.sqlite3), and a restore never writes over any" in said
    assert "keys" not in said
    assert (live.data / "yearmark.sqlite3").read_bytes() == before
    assert any((live.data / "keys").iterdir())


def test_keys_that_lie_where_others_are_to_come_are_not_written_over(kept: Copies, live: Shell, new: Shell) -> None:
    shutil.copytree(live.data / "keys", new.data / "keys")
    before = sorted((new.data / "keys").rglob("*"))
    assert "holds other keys already. Nothing was changed" in refusal(kept.restore(new))
    assert sorted((new.data / "keys").rglob("*")) == before


def test_beside_a_running_server_nothing_is_restored(kept: Copies, new: Shell) -> None:
    with FolderLock(new.data).serving():
        said = refusal(kept.restore(new))
    assert "is using this data folder; stop it first" in said and "keys" not in said
    assert [each.name for each in new.data.iterdir()] == ["locks"]
    assert kept.restore(new).exit_code == 0


def test_a_drill_of_the_newest_copies_says_what_came_back(kept: Copies) -> None:
    said = kept.clinic.on_data("drill")
    rows = json.loads((kept.data / MANIFEST).read_text())["counts"]
    assert said.exit_code == 0, said.output
    assert f"was restored: the same {sum(rows.values())} rows in {len(rows)} tables, the same files" in said.stdout


def test_a_drill_that_finds_other_files_or_other_rows_ends_with_1(copies: Copies) -> None:
    manifest = json.loads((copies.data / MANIFEST).read_text())
    copies.alter(export={**manifest["export"], "sha256": "0" * 64})
    files = copies.drill()
    assert (files.exit_code, "BUT THE FILES OF THE DATA SET DIFFER" in files.stdout) == (DIFFERENT, True)
    copies.alter(counts={**manifest["counts"], "clinic": 2})
    rows = copies.drill()
    assert (rows.exit_code, rows.stdout) == (DIFFERENT, "")
    assert "the restored table clinic has not as many rows as were copied; take another copy" in rows.stderr


@pytest.mark.parametrize(
    ("case", "said"),
    [
        ("one flipped byte", "its SHA-256 differs. Nothing was changed"),
        ("of another clinic", "is a copy of another clinic"),
        ("a key missing", "is cut short, too long or missing. Nothing was changed"),
    ],
)
def test_a_drill_of_a_copy_that_cannot_be_trusted_is_refused(copies: Copies, case: str, said: str) -> None:
    spoil, _said = SPOILT[case]
    spoil(copies)
    assert said in refusal(copies.drill())


def test_without_any_copy_a_drill_says_which_command_comes_first(live: Shell) -> None:
    assert "run `yearmark backup` first" in refusal(live.on_data("drill"))
