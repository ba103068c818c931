"""The command line. Commands are thin: each opens the runtime, calls one function and prints one result."""

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click
from sqlalchemy.engine import make_url
from sqlalchemy.exc import OperationalError, SQLAlchemyError

from server.clinic_entry import EntryProblem, enter_clinic
from server.config import SettingProblem, Settings, read_settings
from server.key_check import missing_keys
from server.models.clock import ClockRefused, clinic_now, set_clock, the_clinic
from server.models.lock import FolderBusy
from server.runtime import Runtime, open_runtime
from server.set_up import NO_CLINIC, NotReady, check_clinic, check_ready, migrate, unusable

data_option = click.option("--data", type=click.Path(path_type=Path, file_okay=False), help="The data folder.")


class Refusal(click.ClickException):
    """A plain message and exit code 2: what happened, what to do."""

    exit_code = 2

    def show(self, file: Any = None) -> None:
        click.echo(f"yearmark: {self.message}", file=file or sys.stderr)


@contextmanager
def plainly() -> Iterator[None]:
    """What a person can mend is said in a sentence."""
    try:
        yield
    except (NotReady, FolderBusy, SettingProblem, EntryProblem) as problem:
        raise Refusal(str(problem)) from problem
    except OperationalError as problem:
        raise Refusal(unusable(problem)) from problem


def settings_of(data: Path | None) -> Settings:
    with plainly():
        return read_settings(data=data)


def opened(data: Path | None) -> Runtime:
    """For a set-up: makes the folder if it is not there."""
    settings = settings_of(data)
    _refuse_other_databases(settings.database_url)
    try:
        runtime = open_runtime(settings)
    except OSError as problem:
        raise Refusal(f"the data folder {settings.data} cannot be used: {problem.strerror}") from problem
    click.get_current_context().call_on_close(runtime.store.engine.dispose)
    return runtime


def _refuse_other_databases(url: str) -> None:
    """The address may hold a password, so it is not repeated."""
    wrong = "YEARMARK_DATABASE_URL is no address of a database; leave it empty for SQLite, or write postgresql://…"
    try:
        backend, _dialect = make_url(url).get_backend_name(), make_url(url).get_dialect().import_dbapi()
    except (SQLAlchemyError, ImportError, ValueError) as problem:
        raise Refusal(wrong) from problem
    if backend not in ("sqlite", "postgresql"):
        raise Refusal(wrong)


def opened_clinic(data: Path | None) -> Runtime:
    """For all that works on a clinic: refuses where none was set up, and leaves nothing behind there."""
    settings = settings_of(data)
    if not any((settings.data / name).exists() for name in ("locks", "keys", "yearmark.sqlite3")):
        raise Refusal(f"{NO_CLINIC} (looked in {settings.data})")
    runtime = opened(data)
    with plainly():
        check_clinic(runtime)
    return runtime


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def main() -> None:
    """Yearmark follows people for decades after shoulder surgery."""


@main.command()
@data_option
@click.option("--port", type=click.IntRange(0, 65535), help="Port to listen on.")
@click.option("--today", type=click.DateTime(["%Y-%m-%d"]), help="The demo clinic's day; default is the real one.")
def demo(data: Path | None, port: int | None, today: datetime | None) -> None:
    """An invented clinic, served on 127.0.0.1."""
    from server.demo.command import run_demo  # the demo's data is only needed here

    with plainly():
        run_demo(opened(data or Path("demo-data")), port=port, today=today.date() if today else None)


@main.command()
@data_option
def serve(data: Path | None) -> None:
    """Serve the clinic in the data folder."""
    from server.serving import serve_forever

    runtime = opened_clinic(data)
    where = f"{runtime.settings.host}:{runtime.settings.port}"
    try:
        with plainly():
            serve_forever(runtime, announce=click.echo)
    except OSError as problem:
        raise Refusal(f"cannot listen on {where}: {problem.strerror}. Set YEARMARK_HOST or YEARMARK_PORT") from problem


@main.command()
@data_option
@click.option("--name", required=True)
@click.option("--phone", required=True, help="Number patients call during opening hours.")
@click.option("--phone-hours", required=True, help="In words, for example: Monday to Friday, 8 to 16.")
@click.option("--closed-phone", required=True, help="Number patients call when the clinic is closed.")
@click.option("--emergency-number", required=True)
@click.option("--time-zone", required=True, help="IANA name, for example Europe/Madrid.")
@click.option("--base-url", required=True, help="The https address patients reach.")
def clinic(data: Path | None, **entry: str) -> None:
    """Set up a live clinic in an empty data folder, or change what an existing one tells its patients."""
    runtime = opened(data)
    with plainly():
        changed = enter_clinic(runtime, **entry)
    if changed is None:
        click.echo(
            f"The clinic is set up in {runtime.settings.data}. "
            "Keep its folder `keys` backed up apart from the database."
        )
    elif changed:
        click.echo(f"Changed: {', '.join(changed)}. Phones learn of it when they next fetch what is due.")
    else:
        click.echo("The clinic already has these entries; nothing was changed.")


@main.command("migrate")
@data_option
def migrate_command(data: Path | None) -> None:
    """Bring the database of the data folder up to this version."""
    with plainly():
        migrate(opened(data))
    click.echo("The database is up to date.")


@main.command()
@data_option
@click.option("--email", required=True)
@click.option("--name", required=True)
@click.option("--role", required=True, type=click.Choice(["nurse", "surgeon", "data_manager"]))
@click.password_option(help="At least 15 characters.")
def account(data: Path | None, email: str, name: str, role: str, password: str) -> None:
    """Make an account for a member of staff, or set the one of this e-mail anew: name, role and password."""
    from server.staff.accounts import make_account_or_say_why

    runtime = opened_clinic(data)
    problem = make_account_or_say_why(runtime, email=email, name=name, role=role, password=password)
    if problem:
        raise Refusal(problem)
    click.echo(f"{email} can sign in as {role.replace('_', ' ')}.")


def _instant(_context: Any, _parameter: Any, text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        at = datetime.fromisoformat(text)
    except ValueError as problem:
        raise click.BadParameter("write an instant such as 2027-03-01T08:00:00Z") from problem
    return at.replace(tzinfo=UTC) if at.tzinfo is None else at


@main.command()
@data_option
@click.option("--now", "at", callback=_instant, help="Demo only: set the clinic's clock forward to this instant first.")
def tick(data: Path | None, at: datetime | None) -> None:
    """One pass of the clock: what opens, falls due, closes; whom to remind."""
    from server.jobs import one_pass

    runtime = opened_clinic(data)
    with plainly():
        check_ready(runtime)
        missing = missing_keys(runtime)
        if missing:
            raise NotReady(missing)
        if at is not None:
            _set_forward(runtime, at)
        click.echo(json.dumps(one_pass(runtime), sort_keys=True))


def _set_forward(runtime: Runtime, at: datetime) -> None:
    real_now = runtime.real_clock()
    try:
        with runtime.store.writing() as session:
            clinic = the_clinic(session)
            shown = clinic_now(clinic, real_now)
            set_clock(clinic, at, real_now)
            if at < shown:
                raise Refusal(f"the clinic's clock already shows {shown:%Y-%m-%d %H:%M} UTC; it only goes forward")
    except ClockRefused as problem:
        raise Refusal(f"{problem}; leave --now out") from problem


@main.command()
@data_option
@click.option("--out", required=True, type=click.Path(path_type=Path, file_okay=False), help="An empty or new folder.")
@click.option("--all-patients", is_flag=True, help="Also those without consent to research; never for research.")
def export(data: Path | None, out: Path, all_patients: bool) -> None:
    """Write the data set: long and wide CSV, operations, codebook and a manifest with checksums.

    Patients whose consent to research does not stand are left out and counted in the manifest.
    """
    from server.exports import ExportProblem, KeysMissing, export_set

    runtime = opened_clinic(data)
    cipher = runtime.keys.patient_cipher
    try:
        manifest = export_set(runtime.store, cipher, runtime.library, out, now=runtime.now(), all_patients=all_patients)
    except KeysMissing as problem:
        raise Refusal(f"{problem} (looked in {runtime.keys.folder})") from problem
    except ExportProblem as problem:
        raise Refusal(str(problem)) from problem
    click.echo(f"{len(manifest.files)} files in {out}")


@main.command()
@click.argument("instrument")
@click.argument("file", type=click.File("rb"), default="-")
@click.option("--explain", is_flag=True, help="Print the arithmetic instead.")
def score(instrument: str, file: Any, explain: bool) -> None:
    """Score answers: {"answers": {"1": 1, "2": 0, …}}, null for not answered."""
    from scoring.answers import AnswerProblem
    from scoring.document import score_document
    from scoring.library import UnknownInstrument, load_library
    from scoring.strict_json import JsonProblem

    try:
        result = score_document(load_library(), instrument, file.read(), explain=explain)
    except (AnswerProblem, UnknownInstrument, JsonProblem) as problem:
        raise Refusal(str(problem)) from problem
    click.echo(result if isinstance(result, str) else json.dumps(result, ensure_ascii=False))
