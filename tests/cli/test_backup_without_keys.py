"""`yearmark backup` while keys are gone: the data are copied, since they can still be saved, and nobody takes the night for a good one."""

from pathlib import Path

import pytest

from server.trust.backup.place import verify
from tests.cli.shell import Shell


@pytest.mark.parametrize("gone", ["*.pem", "*.key"])
def test_the_copy_is_whole_and_the_missing_keys_are_said_loudly(live: Shell, tmp_path: Path, gone: str) -> None:
    assert live.on_data("backup", "--to", str(tmp_path / "before")).exit_code == 0
    for file in (live.data / "keys").rglob(gone):
        file.unlink()
    done = live.on_data("backup", "--to", str(tmp_path / "copies"))
    assert done.exit_code == 1 and "Traceback" not in done.stderr
    assert "THE DATA WERE COPIED, AND THEIR KEYS ARE NOT ALL THERE" in done.stderr
    assert "bring the folder back from its backup" in done.stderr
    (copy,) = (tmp_path / "copies").iterdir()
    assert verify(copy).kind == "data"
