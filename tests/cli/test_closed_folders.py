"""A folder that the clinic's account can neither make nor write is named, with what is safe and the command that mends it."""

import os
import subprocess
from pathlib import Path

import pytest

from tests.cli.shell import MAIL, Shell, refusal
from tests.cli.test_another_account import OWNER, as_the_owner, given_away, reachable

pytestmark = pytest.mark.skipif(os.geteuid() != 0, reason="root alone can shut another account out")


@pytest.fixture
def roots(tmp_path: Path) -> Path:
    """Root's own folder, which others may look into."""
    folder = tmp_path / "roots"
    folder.mkdir()
    folder.chmod(0o755)
    return folder


def told_to_make(said: str, folder: Path) -> None:
    """Follows the advice as root."""
    command = said.partition("as root: ")[2].partition(";")[0]
    assert command == f"install -d -o {OWNER} -g {OWNER} -m 0700 {folder}", said
    subprocess.run(command.split(), check=True)


@pytest.mark.parametrize("command", ["backup", "backup-keys"])
@pytest.mark.parametrize("is_there", [True, False])
def test_a_place_for_copies_that_cannot_be_written_is_named_and_the_advice_makes_it(
    live: Shell, roots: Path, tmp_path: Path, command: str, *, is_there: bool
) -> None:
    assert live.on_data(command, "--to", str(tmp_path / "first")).exit_code == 0  # loads what that account cannot read
    given_away(live)
    place = roots / "copies"
    if is_there:
        place.mkdir(mode=0o700)

    def refused() -> None:
        text = refusal(live.on_data(command, "--to", str(place)))
        verb = "cannot be written" if is_there else "cannot be made"
        assert f"{place} {verb} by account {OWNER}. No copy was made; the clinic and its earlier copies" in text, text
        (tmp_path / "data" / "said").write_text(text)

    def goes() -> None:
        done = live.on_data(command, "--to", str(place))
        assert done.exit_code == 0, done.output

    as_the_owner(refused)
    assert (list(place.iterdir()) if is_there else place.exists()) in ([], False)
    said = (tmp_path / "data" / "said").read_text()
    told_to_make(said, place)
    as_the_owner(goes)


def test_a_place_behind_a_closed_folder_is_told_with_that_folder(live: Shell, roots: Path, tmp_path: Path) -> None:
    assert live.on_data("backup", "--to", str(tmp_path / "first")).exit_code == 0
    given_away(live)
    roots.chmod(0o700)

    def run() -> None:
        said = refusal(live.on_data("backup", "--to", str(roots / "copies")))
        assert f"{roots / 'copies'} cannot be reached by account {OWNER}: {roots} is closed to that account" in said, (
            said
        )

    as_the_owner(run)


def test_a_data_folder_that_cannot_be_made_is_told_before_a_copy_is_read(
    live: Shell, roots: Path, tmp_path: Path
) -> None:
    for command, place in (("backup", "copies"), ("backup-keys", "kept")):
        assert live.on_data(command, "--to", str(tmp_path / place)).exit_code == 0
    (data,), (keys,) = ((tmp_path / place).iterdir() for place in ("copies", "kept"))
    assert Shell(tmp_path / "loads").on_data("restore", str(data), "--keys", str(keys)).exit_code == 0
    given_away(live)
    for path in (data, keys, *data.rglob("*"), *keys.rglob("*")):
        os.chown(path, OWNER, OWNER)
    for path in (data.parent, keys.parent):
        path.chmod(0o755)

    def run() -> None:
        said = refusal(Shell(roots / "data").on_data("restore", str(data), "--keys", str(keys)))
        assert f"the data folder {roots / 'data'} cannot be made by account {OWNER}. Nothing was changed" in said, said
        into = Shell(tmp_path / "data" / "new", {"YEARMARK_KEYS": str(roots / "keys")})
        said = refusal(into.on_data("restore", str(data), "--keys", str(keys)))
        assert f"the key folder (YEARMARK_KEYS) {roots / 'keys'} cannot be made by account {OWNER}" in said, said
        assert not into.data.exists()

    as_the_owner(run)


@pytest.mark.parametrize("command", ["restore", "drill"])
def test_a_copy_that_may_not_be_read_is_not_called_damaged(live: Shell, tmp_path: Path, command: str) -> None:
    assert live.on_data("backup", "--to", str(tmp_path / "copies")).exit_code == 0
    (copy,) = (tmp_path / "copies").iterdir()
    given_away(live)
    (tmp_path / "copies").chmod(0o755)

    def run() -> None:
        into = Shell(tmp_path / "data" / "new") if command == "restore" else live
        said = refusal(into.on_data(command, *(["--from"] if command == "drill" else []), str(copy)))
        assert f"{copy} may not be read by this account. Nothing was changed" in said, said

    as_the_owner(run)


@pytest.mark.parametrize("mode", [None, 0o700, 0o755])
def test_a_key_folder_that_cannot_be_used_is_told_before_a_clinic_is_made(
    shell: Shell, roots: Path, tmp_path: Path, mode: int | None
) -> None:
    """Not there, or root's."""
    keys = roots / "keys"
    if mode is not None:
        keys.mkdir()
        keys.chmod(mode)
    shell.environment.update({**MAIL, "YEARMARK_KEYS": str(keys)})
    shell.data.mkdir()
    os.chown(shell.data, OWNER, OWNER)
    reachable(shell.data)

    def refused() -> None:
        verb = "made" if mode is None else "written"
        text = refusal(shell.clinic())
        assert f"the key folder (YEARMARK_KEYS) {keys} cannot be {verb} by account {OWNER}. Nothing was changed" in text
        assert not (shell.data / "yearmark.sqlite3").exists()
        (shell.data / "said").write_text(text)

    def goes() -> None:
        made = shell.clinic()
        assert made.exit_code == 0, made.output

    as_the_owner(refused)
    said = (shell.data / "said").read_text()
    told_to_make(said, keys)
    as_the_owner(goes)
