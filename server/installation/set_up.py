"""First set-up of a data folder: schema, the clinic's row, its sealing key; and what must be there before anything runs on it.

Safe to repeat; never beside a running server.
"""

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from sqlalchemy import inspect, select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from server.crypto.envelope import SUITE_ID, public_point
from server.fields.clinic import SETTINGS
from server.fields.field import Value
from server.fields.stored import stored_values
from server.installation.owner import others_file
from server.installation.private_files import database_files
from server.installation.runtime import Runtime
from server.models import Clinic, SealingKey
from server.reminders.channels.email.channel import mail_problem
from server.schedule.dates import zone_named
from server.store.migrate import current_revision, revisions, upgrade
from server.trust.audit import audit
from server.trust.keys import KeyFolder

NO_CLINIC = "this data folder has no clinic yet; run `yearmark set-up`, or with a copy `yearmark restore`, or `yearmark demo` to try it"


RESTORE_UNFINISHED = "restore-unfinished"  # lies in a data folder whose restore was broken off


class NotReady(RuntimeError):
    """What is missing before the server may start, and what to do about it."""


LANGUAGES = "en,es"


class ClinicEntry:
    """What the first set-up is told: live or demo, and the clinic's settings by the names of their table, checked by the caller."""

    def __init__(self, mode: str, **settings: Value) -> None:
        self.mode = mode
        self.settings: Mapping[str, Value] = {"languages": LANGUAGES, "default_plan": "standard@3", **settings}


def clinic_mode(runtime: Runtime) -> str | None:
    """`live` or `demo`, also before the schema is up to date; None without a clinic. Raises NotReady without a database.

    An SQLite file that is not there is not made by asking.
    """
    url = runtime.store.engine.url
    if url.get_backend_name() == "sqlite" and not Path(url.database or "").exists():
        return None
    try:
        if not inspect(runtime.store.engine.execution_options(ro=True)).has_table("clinic"):
            return None
        with runtime.store.reading() as session:
            return session.scalar(select(Clinic.mode))
    except DBAPIError as problem:
        raise NotReady(_unusable_here(runtime, problem)) from problem


def unusable(problem: DBAPIError) -> str:
    """A database that cannot be used, in one line. Statements and what was in them stay out of it."""
    said = next(iter(str(problem.orig).splitlines()), type(problem.orig).__name__)
    return f"the database cannot be used: {said}. Look at YEARMARK_DATABASE_URL and --data, and whether it is running"


def _unusable_here(runtime: Runtime, problem: DBAPIError) -> str:
    """SQLite does not say that a file of the database is another account's."""
    settings = runtime.settings
    return others_file(database_files(settings), settings.data, settings.keys) or unusable(problem)


def migrate(runtime: Runtime) -> None:
    """Brings the schema up to date. Raises FolderBusy beside a running server, NotReady for a database it cannot use."""
    with runtime.lock.serving():
        _revision(runtime)
        upgrade(runtime.store.engine)


def _revision(runtime: Runtime) -> str | None:
    if (runtime.settings.data / RESTORE_UNFINISHED).exists():
        raise NotReady(
            f"a restore into {runtime.settings.data} was begun and not finished; run `yearmark restore` again, it starts anew. "
            "The copy it came from is as it was"
        )
    try:
        revision = current_revision(runtime.store.engine)
    except DBAPIError as problem:
        raise NotReady(_unusable_here(runtime, problem)) from problem
    if revision is not None and revision not in revisions():
        raise NotReady("a newer version of Yearmark has written this database; install that version again")
    return revision


def set_up_clinic(session: Session, entry: ClinicEntry, keys: KeyFolder, *, now: datetime) -> Clinic:
    clinic = session.get(Clinic, 1)
    if clinic is None:
        clinic = Clinic(id=1, mode=entry.mode, **stored_values(SETTINGS, entry.settings))
        session.add(clinic)
        audit(session, "clinic:set_up", "clinic 1", now=now, mode=entry.mode)
    if session.scalars(select(SealingKey).where(SealingKey.retired_at.is_(None))).first() is None:
        key_id, public = keys.new_sealing_key()
        session.add(SealingKey(key_id=key_id, suite=SUITE_ID, point=public_point(public), made_at=now))
        audit(session, "key:made", f"sealing key {key_id}", now=now)
    session.flush()
    return clinic


def check_clinic(runtime: Runtime) -> Clinic:
    """The clinic of a database that is there and of this version. Raises NotReady."""
    revision = _revision(runtime)
    if revision is None:
        raise NotReady(NO_CLINIC)
    if revision != revisions()[-1]:
        raise NotReady("an earlier version of Yearmark has written this database; run `yearmark migrate` first")
    with runtime.store.reading() as session:
        clinic = session.get(Clinic, 1)
    if clinic is None:
        raise NotReady(NO_CLINIC)
    try:
        zone_named(clinic.time_zone)
    except ValueError as problem:
        raise NotReady(f"the clinic's time zone is {problem}; run `yearmark clinic` again") from problem
    return clinic


def check_ready(runtime: Runtime) -> None:
    """Raises NotReady unless clinic and key are there and, in live mode, the numbers for patients and a way to send mail."""
    clinic = check_clinic(runtime)
    with runtime.store.reading() as session:
        key = session.scalars(select(SealingKey).where(SealingKey.retired_at.is_(None))).first()
    if key is None:
        raise NotReady(NO_CLINIC)
    live = clinic.mode == "live"
    numbers = (clinic.phone, clinic.closed_phone, clinic.emergency_number)
    if live and not all(number.strip() for number in numbers):
        raise NotReady(
            "a live clinic needs its telephone, the number when closed and the emergency number; run `yearmark clinic`"
        )
    problem = mail_problem(runtime.settings, clinic.mail_from, live=live)
    if problem:
        raise NotReady(problem)
