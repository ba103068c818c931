"""A PostgreSQL of the suite's own, and the fixture that runs a test on both databases.

One server for a test run, shared by its processes and started by the first that asks; a database for each test file.
The server keeps its defaults, fsync among them, since some tests kill what writes to it. `python -m tests.databases
postgresql` exits 0 if one can be started; without an argument it says so or why not.
"""

import fcntl
import json
import os
import pwd
import shutil
import subprocess
import sys
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import psycopg
import pytest

RUN_FOLDER = "YEARMARK_TEST_RUN"  # how the processes of one test run find each other
OWNER = "yearmark"


class NoPostgreSQL(Exception):
    """PostgreSQL cannot be had here; the text says why."""


def binaries() -> Path:
    """The folder with initdb and pg_ctl, the newest version first. Debian keeps it out of PATH."""
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(path.parent.name), reverse=True)
    in_path = shutil.which("initdb")
    if in_path:
        folders.append(Path(in_path).resolve().parent)
    for folder in folders:
        if (folder / "initdb").is_file() and (folder / "pg_ctl").is_file():
            return folder
    raise NoPostgreSQL("no PostgreSQL server is installed (Debian and Ubuntu: apt install postgresql)")


def unprivileged_user() -> pwd.struct_passwd:
    """Who runs the server: the present user, or, since PostgreSQL refuses to run as root, another one."""
    if os.getuid():
        return pwd.getpwuid(os.getuid())
    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name)
        except KeyError:
            continue
    raise NoPostgreSQL("PostgreSQL refuses to run as root, and there is neither a user postgres nor nobody")


@dataclass(frozen=True)
class Server:
    """A server in a folder of its own, reached by a socket in that folder and by nothing else."""

    folder: Path

    def url(self, database: str) -> str:
        return f"postgresql://{OWNER}@/{database}?host={self.folder}"

    def start(self) -> None:
        """Makes the cluster and starts it; about two seconds. Raises NoPostgreSQL with what the tools said."""
        data = str(self.folder / "data")
        self._call("initdb", "-D", data, "-U", OWNER, "-A", "trust", "--no-locale", "-E", "UTF8", "--no-sync")
        options = f"-k {self.folder} -c listen_addresses='' -c max_connections=200"
        log = str(self.folder / "log")
        self._call("pg_ctl", "-D", data, "-l", log, "-o", options, "-w", "-t", "60", "start")

    def _call(self, tool: str, *arguments: str) -> None:
        # A file, not a pipe: the server inherits it, and a pipe would stay open as long as the server runs.
        other, said = unprivileged_user().pw_uid if os.getuid() == 0 else None, self.folder / f"{tool}.said"
        group = unprivileged_user().pw_gid if other else None
        with said.open("w") as output:
            done = subprocess.run(
                [str(binaries() / tool), *arguments],
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=output,
                cwd=self.folder,
                user=other,
                group=group,
                extra_groups=None if group is None else [group],
            )
        if done.returncode:
            raise NoPostgreSQL(f"{tool} failed: {said.read_text().strip()}")

    def remove(self) -> None:
        """Stops it, if it came to run at all, and deletes what it kept."""
        with suppress(NoPostgreSQL):
            self._call("pg_ctl", "-D", str(self.folder / "data"), "-m", "immediate", "-w", "stop")
        shutil.rmtree(self.folder, ignore_errors=True)


def new_server() -> Server:
    """A server that is not started yet, in a folder of its user's. A socket's path has at most 103 bytes, so a short one."""
    user = unprivileged_user()
    binaries()
    usual = tempfile.gettempdir()
    folder = Path(tempfile.mkdtemp(prefix="yearmark-postgresql-", dir=usual if len(usual) < 50 else "/tmp"))
    if not os.getuid():
        os.chown(folder, user.pw_uid, user.pw_gid)
    return Server(folder)


@contextmanager
def private_server() -> Iterator[Server]:
    """A running server for the length of a block, for what runs outside pytest."""
    server = new_server()
    try:
        server.start()
        yield server
    finally:
        server.remove()


def shared_server() -> Server:
    """The server of this test run, started by the first process that asks. Raises NoPostgreSQL, the same for all."""
    run_folder = Path(os.environ[RUN_FOLDER])
    note = run_folder / "postgresql.json"
    with (run_folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not note.exists():
            start_shared_server(note)
        found = json.loads(note.read_text())
    if "reason" in found:
        raise NoPostgreSQL(found["reason"])
    return Server(Path(found["folder"]))


def start_shared_server(note: Path) -> None:
    """Starts it and notes its folder, before it runs, since an interrupt may come; or notes the reason why not."""
    try:
        server = new_server()
        note.write_text(json.dumps({"folder": str(server.folder)}))
        try:
            server.start()
        except NoPostgreSQL:
            server.remove()
            raise
    except NoPostgreSQL as missing:
        note.write_text(json.dumps({"reason": str(missing)}))


@contextmanager
def new_database(server: Server) -> Iterator[str]:
    """The URL of an empty database on this server, dropped afterwards with whoever is still connected."""
    name = f"test_{uuid.uuid4().hex}"
    with psycopg.connect(server.url("postgres"), autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    try:
        yield server.url(name)
    finally:
        with psycopg.connect(server.url("postgres"), autocommit=True) as connection:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


def reason_missing() -> str | None:
    """Why PostgreSQL cannot be used here; None if it can."""
    try:
        binaries(), unprivileged_user()
    except NoPostgreSQL as missing:
        return str(missing)
    return None


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The URL of an empty database, one for each test file and kind."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path_factory.mktemp('database') / 'clinic.sqlite'}"
        return
    try:
        server = shared_server()
    except NoPostgreSQL as missing:
        pytest.skip(f"PostgreSQL: {missing}")
    with new_database(server) as url:
        yield url


def pytest_configure(config: pytest.Config) -> None:
    """The first process of a run makes the folder; those that pytest-xdist starts inherit its name."""
    if not hasattr(config, "workerinput"):
        os.environ[RUN_FOLDER] = tempfile.mkdtemp(prefix="yearmark-test-run-")


def pytest_unconfigure(config: pytest.Config) -> None:
    """The last process of a run, after all its workers, stops the server if one was started."""
    if hasattr(config, "workerinput") or RUN_FOLDER not in os.environ:
        return
    run_folder = Path(os.environ.pop(RUN_FOLDER))
    note = run_folder / "postgresql.json"
    folder = json.loads(note.read_text()).get("folder") if note.exists() else None
    if folder:
        Server(Path(folder)).remove()
    shutil.rmtree(run_folder)


def main(arguments: list[str]) -> int:
    reason = reason_missing()
    if not arguments:
        left_out = "the half of each data test that runs on PostgreSQL"
        print(f"  postgresql: {f'{reason}; left out: {left_out}' if reason else 'there'}")
    return 1 if arguments and reason else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
