"""How PostgreSQL's tools are started: with a lock that they hold, and without a password on the command line, which other users read."""

import shutil
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from server.trust.backup.databases import load_database
from server.trust.backup.manifest import CopyProblem


@dataclass
class Ran:
    """`reached_with`: what PostgreSQL's own library makes of variables and files, as the tool would."""

    words: list[list[str]] = field(default_factory=list)
    passwords: list[str | None] = field(default_factory=list)
    open_files: list[tuple[int, ...]] = field(default_factory=list)
    reached_with: list[dict[str, str]] = field(default_factory=list)


@pytest.fixture
def ran(monkeypatch: pytest.MonkeyPatch) -> Ran:
    pq = pytest.importorskip("psycopg.pq")
    seen = Ran()

    def run(
        words: list[str], *, env: dict[str, str], pass_fds: tuple[int, ...], **_how: object
    ) -> subprocess.CompletedProcess[str]:
        seen.words.append(words)
        seen.open_files.append(pass_fds)
        seen.passwords.append(env.get("PGPASSWORD"))
        with monkeypatch.context() as meanwhile:
            for name in ("PGSERVICE", "PGSERVICEFILE"):
                if name in env:
                    meanwhile.setenv(name, env[name])
            found = {each.keyword.decode(): each.val for each in pq.Conninfo.get_defaults()}
        seen.reached_with.append({name: value.decode() for name, value in found.items() if value})
        return subprocess.CompletedProcess(words, 0, "", "")

    monkeypatch.setattr(subprocess, "run", run)
    monkeypatch.setattr(shutil, "which", lambda tool: tool)
    return seen


def test_the_program_that_loads_holds_the_lock_for_which_the_next_restore_waits(ran: Ran, tmp_path: Path) -> None:
    load_database(tmp_path, "postgresql://y@db/clinic", 5)
    assert ran.open_files == [(5,)]


@pytest.mark.parametrize(
    "url",
    ["postgresql+psycopg://y:s3cret@db/clinic", "postgresql://y@db/clinic?password=s3cret"],
    ids=["before the host", "among the parameters"],
)
def test_the_password_goes_by_the_environment(ran: Ran, tmp_path: Path, url: str) -> None:
    load_database(tmp_path, url, 0)
    [words] = ran.words
    assert ran.passwords == ["s3cret"]
    assert [word for word in words if "s3cret" in word] == []
    assert "--dbname=postgresql://y@db/clinic" in words


def test_the_password_of_the_certificates_key_goes_by_a_file_that_has_no_name(ran: Ran, tmp_path: Path) -> None:
    load_database(tmp_path, "postgresql://y:s3cret@db/clinic?sslkey=/k&sslpassword=k3y%20pass", 0)
    [words], [reached] = ran.words, ran.reached_with
    assert [word for word in words if "s3cret" in word or "k3y" in word or "sslpassword" in word] == []
    assert "--dbname=postgresql://y@db/clinic?sslkey=%2Fk" in words
    assert reached["sslpassword"] == "k3y pass"
    assert ran.passwords == ["s3cret"]


def test_beside_a_service_it_is_refused_in_a_sentence(ran: Ran, tmp_path: Path) -> None:
    with pytest.raises(CopyProblem, match=r"Nothing was changed\. Write sslpassword into the file of the service"):
        load_database(tmp_path, "postgresql://y@db/clinic?service=clinic&sslpassword=k3y", 0)
    assert ran.words == []
