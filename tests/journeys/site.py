"""A clinic with a real server that can be killed and started again on the same port. The clinic's clock shows NOW."""

import os
import signal
import socket
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import cache
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerProcess
from pathlib import Path
from time import monotonic

from sqlalchemy import func, select

from server.app import create_app
from server.clinic.entries import ShoulderEntry
from server.config import read_settings
from server.installation.runtime import open_runtime
from server.installation.set_up import ClinicEntry, migrate, set_up_clinic
from server.links.make import link_url, live_link
from server.models import Patient, Response
from server.queries.clock import real_now, set_clock
from server.staff.account.accounts import create_account, hash_password
from server.sync.pages import BUILT
from tests.clinic_case import Case
from tests.forked import FORKED
from tests.journeys.served import serve
from tests.storehouse import migrated_sqlite

NOW = datetime(2026, 6, 15, 9, 0, tzinfo=UTC)
BORN = date(1952, 2, 29)
PASSWORD = "seven pale lanterns drifting"
ROLES = ("nurse", "surgeon", "data_manager")
PATIENCE_SECONDS = 20


@cache
def password_hash() -> str:
    return hash_password(PASSWORD)


def until(probe: Callable[[], object], what: str) -> None:
    """Asks until it is so. The asking itself takes its time; nothing is waited for by the clock."""
    deadline = monotonic() + PATIENCE_SECONDS
    while not probe():
        if monotonic() > deadline:
            raise AssertionError(f"not so after {PATIENCE_SECONDS} s: {what}")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class Site:
    """`case` reaches the same database from the test's own process: to enrol, and to see what was recorded."""

    folder: Path
    case: Case
    port: int
    database_url: str
    app: Path = BUILT
    process: ForkServerProcess | None = field(default=None, repr=False)
    says: Connection | None = field(default=None, repr=False)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self, when_stored: str = "process") -> None:
        """Returns once the server has announced that it listens."""
        assert self.process is None, "the server runs already"
        environment = {**os.environ, "YEARMARK_DATABASE_URL": self.database_url}
        (self.folder / "server.log").touch()
        self.says, announced = FORKED.Pipe(duplex=False)
        arguments = (environment, self.folder, self.port, self.app, when_stored, announced)
        self.process = FORKED.Process(target=serve, args=arguments, daemon=True)
        self.process.start()
        announced.close()  # the server's end is the only one, so that nothing is waited for once it has ended
        try:
            said = str(self.says.recv())
        except EOFError:
            said = ""
        assert said.startswith("Serving on"), (self.folder / "server.log").read_text()

    def kill(self) -> None:
        """With -9, in the middle of whatever it does."""
        if self.process is not None:
            self.process.kill()
            self.ended()

    def ended(self) -> int:
        """Waits until the process is gone; its exit code."""
        assert self.process is not None and self.says is not None
        self.process.join(PATIENCE_SECONDS)
        code = self.process.exitcode
        assert code is not None, f"the server still runs after {PATIENCE_SECONDS} s"
        self.process.close()
        self.says.close()
        self.process = self.says = None
        return code

    def stop(self) -> None:
        """As Ctrl-C does."""
        if self.process is not None and self.process.pid is not None:
            os.kill(self.process.pid, signal.SIGINT)
            self.ended()

    def enrol(self, *sides: str, operated_days_ago: int = 365, **changes: object) -> int:
        """A patient with a due form for each side; right when none is named."""
        operated = self.case.today - timedelta(days=operated_days_ago)
        shoulders = [ShoulderEntry(side=side, surgery_on=operated) for side in sides or ("right",)]
        return self.case.enrol(*shoulders, **{"birth_on": BORN, **changes})

    def token(self, patient_id: int) -> str:
        with self.case.store.writing() as session:
            token = live_link(session, session.get_one(Patient, patient_id), now=self.case.now).token
            assert token is not None
            return token

    def link(self, patient_id: int) -> str:
        return link_url(self.address, self.token(patient_id))

    def responses(self, patient_id: int) -> int:
        with self.case.store.reading() as session:
            return session.scalar(select(func.count()).where(Response.patient_id == patient_id)) or 0

    def wait_for_response(self, patient_id: int, count: int = 1) -> None:
        until(lambda: self.responses(patient_id) >= count, f"{count} recorded of patient {patient_id}")
        assert self.responses(patient_id) == count


def make_site(folder: Path, database_url: str = "") -> Site:
    """An empty clinic, set up as the commands do, with an account for each role; the server is not started."""
    environment = {"YEARMARK_DATABASE_URL": database_url}
    runtime = open_runtime(read_settings(environment, data=folder))
    if not database_url:
        (folder / "yearmark.sqlite3").write_bytes(migrated_sqlite())
    migrate(runtime)
    port = free_port()
    entry = ClinicEntry(
        name="Harbour Shoulder Clinic (invented)",
        mode="demo",
        phone="555 0100",
        phone_hours={"en": "Monday to Friday, 8 to 16"},
        closed_phone="555 0101",
        emergency_number="112",
        time_zone="Europe/Madrid",
        base_url=f"http://127.0.0.1:{port}",
    )
    with runtime.store.writing() as session:
        clinic = set_up_clinic(session, entry, runtime.keys, now=NOW)
        set_clock(clinic, NOW, real_now())
        for role in ROLES:
            create_account(session, f"{role}@clinic.example", f"Nell {role}", role, password_hash(), NOW)
    runtime.store.engine.dispose()
    # Opened anew, as every command does: set-up has made the keys.
    opened = open_runtime(read_settings(environment, data=folder))
    return Site(folder, Case(opened, create_app, NOW), port, opened.settings.database_url)
