"""The command line. Commands are thin: each opens the runtime, calls one function and prints one result."""

import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from server.config import SettingProblem, read_settings
from server.models.clock import ClockRefused, set_clock, the_clinic
from server.models.lock import FolderBusy
from server.runtime import Runtime, open_runtime
from server.set_up import ClinicEntry, NotReady, migrate, set_up_clinic

data_option = click.option("--data", type=click.Path(path_type=Path, file_okay=False), help="The data folder.")


class Refusal(click.ClickException):
    """A plain message and exit code 2: what happened, what to do."""

    exit_code = 2

    def show(self, file: Any = None) -> None:
        click.echo(f"yearmark: {self.message}", file=file or sys.stderr)


def opened(data: Path | None) -> Runtime:
    try:
        return open_runtime(read_settings(data=data))
    except SettingProblem as problem:
        raise Refusal(str(problem)) from problem


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

    run_demo(opened(data or Path("demo-data")), port=port, today=today.date() if today else None)


@main.command()
@data_option
def serve(data: Path | None) -> None:
    """Serve the clinic in the data folder."""
    from server.serving import serve_forever

    runtime = opened(data)
    try:
        serve_forever(runtime, announce=click.echo)
    except (NotReady, FolderBusy) as problem:
        raise Refusal(str(problem)) from problem


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
    """Set up a live clinic in an empty data folder."""
    runtime = opened(data)
    try:
        migrate(runtime)
        with runtime.store.writing() as session:
            set_up_clinic(session, ClinicEntry(mode="live", **entry), runtime.keys, now=runtime.real_clock())
    except FolderBusy as problem:
        raise Refusal(str(problem)) from problem
    click.echo(
        f"The clinic is set up in {runtime.settings.data}. Keep its folder `keys` backed up apart from the database."
    )


@main.command("migrate")
@data_option
def migrate_command(data: Path | None) -> None:
    """Bring the database of the data folder up to this version."""
    try:
        migrate(opened(data))
    except FolderBusy as problem:
        raise Refusal(str(problem)) from problem
    click.echo("The database is up to date.")


@main.command()
@data_option
@click.option("--email", required=True)
@click.option("--name", required=True)
@click.option("--role", required=True, type=click.Choice(["nurse", "surgeon", "data_manager"]))
@click.password_option(help="At least 15 characters.")
def account(data: Path | None, email: str, name: str, role: str, password: str) -> None:
    """Make an account for a member of staff."""
    from server.staff.accounts import make_account_or_say_why

    runtime = opened(data)
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

    runtime = opened(data)
    if at is not None:
        _set_forward(runtime, at)
    click.echo(json.dumps(one_pass(runtime), sort_keys=True))


def _set_forward(runtime: Runtime, at: datetime) -> None:
    try:
        if at < runtime.now():
            raise Refusal(f"the clinic's clock already shows {runtime.now():%Y-%m-%d %H:%M} UTC; it only goes forward")
        with runtime.store.writing() as session:
            set_clock(the_clinic(session), at, runtime.real_clock())
    except ClockRefused as problem:
        raise Refusal(f"{problem}; leave --now out") from problem


@main.command()
@data_option
@click.option("--out", required=True, type=click.Path(path_type=Path, file_okay=False), help="An empty or new folder.")
def export(data: Path | None, out: Path) -> None:
    """Write the data set: long and wide CSV, codebook and a manifest with checksums."""
    from server.exports import ExportProblem, export_set

    runtime = opened(data)
    try:
        manifest = export_set(runtime.store, runtime.keys.patient_cipher, runtime.library, out, now=runtime.now())
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
