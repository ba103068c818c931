"""`yearmark lock`: made, listed, taken out, compared."""

import hashlib
import stat
from pathlib import Path

from tests.cli.shell import Shell, refusal


def lock(shell: Shell, *words: str) -> str:
    said = shell.run("lock", *words, "--data", str(shell.data))
    assert said.exit_code == 0, said.output
    return said.output


def test_a_lock_is_made_listed_taken_out_and_compared(live: Shell, tmp_path: Path) -> None:
    made = lock(live, "make", "five-years", "--why", "the paper")
    out = tmp_path / "lock.zip"
    lock(live, "get", "five-years", "--out", str(out))
    sha256 = hashlib.sha256(out.read_bytes()).hexdigest()
    assert sha256 in made and sha256 in lock(live, "list")
    assert stat.S_IMODE(out.stat().st_mode) == 0o600
    assert "operations.csv: 0 rows, none changed" in lock(live, "changes", "five-years")


def test_what_cannot_be_is_refused(live: Shell, tmp_path: Path) -> None:
    there = tmp_path / "there.zip"
    there.write_bytes(b"mine")
    lock(live, "make", "one", "--why", "the paper")
    data = ("--data", str(live.data))
    assert "a lock never changes" in refusal(live.run("lock", "make", "one", "--why", "again", *data))
    assert "small letters" in refusal(live.run("lock", "make", "One", "--why", "again", *data))
    assert "no data lock 'two'" in refusal(live.run("lock", "get", "two", "--out", str(tmp_path / "x.zip"), *data))
    assert "exists; nothing was written" in refusal(live.run("lock", "get", "one", "--out", str(there), *data))
    assert there.read_bytes() == b"mine"
