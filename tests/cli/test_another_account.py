"""A data folder belongs to one account: no other leaves a file in it, not even root; and a file that stands in the way is named."""

import os
import shlex
import subprocess
import traceback
from collections.abc import Callable
from pathlib import Path
from tempfile import gettempdir

import pytest

from server.installation.owner import account_name
from tests.cli.shell import MAIL, Shell, refusal

OWNER = 12345  # an account without a name, as another machine may have had it
ANOTHER = 12346
pytestmark = pytest.mark.skipif(os.geteuid() != 0, reason="root alone can give a file to another account")


def reachable(data: Path) -> None:
    """Every other account may go through the folders of the tests to this one."""
    for folder in data.parents:
        if folder.is_relative_to(gettempdir()) and folder.stat().st_mode & 0o077 == 0:
            folder.chmod(0o755)


def given_away(shell: Shell) -> Shell:
    """To OWNER, who can reach it."""
    for path in (shell.data, *shell.data.rglob("*")):
        os.chown(path, OWNER, OWNER)
    reachable(shell.data)
    return shell


@pytest.fixture
def theirs(live: Shell) -> Shell:
    return given_away(live)


def as_the_owner(do: Callable[[], None], account: int = OWNER) -> None:
    """In a process of that account; what fails there fails here."""
    child = os.fork()
    if child == 0:
        try:
            os.setgroups([])
            os.setgid(account)
            os.setuid(account)
            do()
        except BaseException:
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


def whose(folder: Path) -> dict[str, tuple[int, int]]:
    return {str(path): (path.stat().st_uid, path.stat().st_mtime_ns) for path in (folder, *folder.rglob("*"))}


@pytest.mark.parametrize("command", ["backup", "tick", "serve", "check", "migrate", "set-up", "restore"])
def test_a_command_of_another_account_says_whose_the_folder_is_and_leaves_nothing_there(
    theirs: Shell, tmp_path: Path, command: str
) -> None:
    words = {"backup": ["--to", str(tmp_path / "copies")], "restore": [str(tmp_path)]}
    before = whose(theirs.data)
    said = refusal(theirs.on_data(command, *words.get(command, [])))
    assert f"This data folder belongs to account {OWNER}" in said
    assert f"--reuid={OWNER}" in said and "Nothing was changed" in said
    assert whose(theirs.data) == before and not (tmp_path / "copies").exists()


def test_an_account_with_a_name_is_named_and_so_is_the_command(tmp_path: Path, shell: Shell) -> None:
    shell.data.mkdir()
    os.chown(shell.data, 65534, 65534)
    said = refusal(shell.clinic())
    assert f"This data folder belongs to {account_name(65534)}" in said
    assert f"-u {account_name(65534)}" in said and list(shell.data.iterdir()) == []


def test_an_account_that_may_not_look_into_the_folder_is_told_whose_it_is(theirs: Shell) -> None:
    assert theirs.data.stat().st_mode & 0o077 == 0

    def run() -> None:
        said = refusal(theirs.on_data("check"))
        assert f"This data folder belongs to account {OWNER} ({theirs.data})" in said, said

    as_the_owner(run, ANOTHER)


def test_nobody_is_told_to_run_a_clinic_as_root(live: Shell) -> None:
    """An account that finds what root has set up by mistake."""
    reachable(live.data)

    def run() -> None:
        said = refusal(live.on_data("check"))
        assert "belongs to root" in said and f"chown -R ACCOUNT {live.data}" in said, said
        assert "sudo" not in said and "runuser" not in said, said

    as_the_owner(run)


@pytest.mark.parametrize("words", [["tick"], ["tick", "--data", "{data}"], ["tick", "--data={data}"]])
def test_what_is_to_be_typed_always_names_the_folder_once(
    theirs: Shell, words: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """`YEARMARK_DATA` may have named it, which sudo takes away."""
    words = [word.format(data=theirs.data) for word in words]
    theirs.environment["YEARMARK_DATA"] = str(theirs.data)
    monkeypatch.setattr("sys.argv", ["yearmark", *words])
    advice = refusal(theirs.run(*words)).split("Run it as that account: ")[1].splitlines()[0]
    assert shlex.split(advice.replace("=", " "))[-3:] == ["tick", "--data", str(theirs.data)]


def test_an_empty_folder_that_root_made_for_the_account_is_set_up_by_it(shell: Shell) -> None:
    shell.environment.update(MAIL)
    shell.data.mkdir(mode=0o700)
    os.chown(shell.data, OWNER, OWNER)
    reachable(shell.data)

    def set_up() -> None:
        made = shell.clinic()
        assert made.exit_code == 0, made.output

    as_the_owner(set_up)
    assert {owner for owner, _ in whose(shell.data).values()} == {OWNER}


@pytest.mark.parametrize(("command", "name"), [("backup", "copying"), ("serve", "serving")])
def test_a_lock_that_root_has_left_is_named_in_a_sentence(live: Shell, tmp_path: Path, command: str, name: str) -> None:
    place = tmp_path / "other copies"
    place.mkdir(mode=0o700)
    os.chown(place, OWNER, OWNER)
    words = ["--to", str(place)]
    assert (
        live.on_data("backup", "--to", str(tmp_path / "copies")).exit_code == 0
    )  # also loads what that account may be unable to read
    lock = given_away(live).data / "locks" / name
    lock.touch()
    os.chown(lock, 0, 0)
    lock.chmod(0o600)

    def run() -> None:
        said = refusal(live.on_data(command, *(words if command == "backup" else [])))
        assert f"{lock} cannot be used by account {OWNER}: Permission denied" in said
        assert f"chown -R {OWNER} on" in said and "cannot listen" not in said

    as_the_owner(run)


@pytest.mark.parametrize("command", ["check", "tick"])
@pytest.mark.parametrize("name", ["yearmark.env", "yearmark.sqlite3", "yearmark.sqlite3-wal", "keys/field/*.key"])
def test_what_root_has_left_inside_is_named_with_the_command_that_mends_it(
    live: Shell, name: str, command: str
) -> None:
    assert live.on_data("tick").exit_code == 0  # also loads what that account may be unable to read
    given_away(live)
    [left] = live.data.glob(name) if "*" in name else [live.data / name]
    left.touch(mode=0o600)
    os.chown(left, 0, 0)
    mends = f"chown -R {OWNER} {live.data}"

    def run() -> None:
        refused = live.on_data(command)
        said = refused.output
        assert refused.exit_code != 0 and "unable to open" not in said
        assert f"{left} belongs to root, so account {OWNER} cannot use it" in said, said
        assert f"As root: {mends}; then the same command once more" in said, said

    def run_again() -> None:
        done = live.on_data("tick")
        assert done.exit_code == 0, done.output

    as_the_owner(run)
    subprocess.run(shlex.split(mends), check=True)
    as_the_owner(run_again)


def test_the_account_restores_into_the_two_folders_that_root_made_for_it(live: Shell, tmp_path: Path) -> None:
    """It may make none beside them, as in /var/lib."""
    for command, place in (("backup", "copies"), ("backup-keys", "kept")):
        assert live.on_data(command, "--to", str(tmp_path / place)).exit_code == 0
    (data,), (keys,) = ((tmp_path / place).iterdir() for place in ("copies", "kept"))

    def restore(machine: Path) -> None:
        done = Shell(machine / "data").on_data("restore", str(data), "--keys", str(keys))
        assert done.exit_code == 0, done.output

    (tmp_path / "roots").mkdir()
    restore(tmp_path / "roots")  # also loads what that account may be unable to read
    lib = tmp_path / "lib"
    for folder in (lib / "data", lib / "data-keys"):
        folder.mkdir(parents=True, mode=0o700)
        os.chown(folder, OWNER, OWNER)
    reachable(tmp_path)
    for path in (lib, tmp_path / "copies", tmp_path / "kept", tmp_path):
        path.chmod(0o755)
    for path in (data, keys, *data.rglob("*"), *keys.rglob("*")):
        os.chown(path, OWNER, OWNER)
    as_the_owner(lambda: restore(lib))
    assert any((lib / "data-keys").rglob("*.pem")) and (lib / "data" / "yearmark.env").exists()
    assert {owner for owner, _ in (whose(lib / "data") | whose(lib / "data-keys")).values()} == {OWNER}
    assert sorted(each.name for each in lib.iterdir()) == ["data", "data-keys"]
