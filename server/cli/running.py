"""Commands that set a clinic up, serve it and move its clock."""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from server.cli.opening import Refusal, data_option, opened, opened_clinic, plainly
from server.clinic.settings import ASKED
from server.fields.field import Kind
from server.installation.clinic_entry import enter_clinic
from server.installation.key_check import missing_keys
from server.installation.log_lines import write_log_lines
from server.installation.runtime import Runtime
from server.installation.set_up import NotReady, check_ready, migrate
from server.queries.clock import ClockRefused, clinic_now, set_clock, the_clinic
from server.reminders.ladders import name_in_force, was_chosen
from server.timepoints.plan_use import plans_holding_ladders
from server.words.catalogue import not_compiled


@click.command()
@data_option
@click.option("--port", type=click.IntRange(0, 65535), help="Port to listen on.")
@click.option("--today", type=click.DateTime(["%Y-%m-%d"]), help="The demo clinic's day; default is the real one.")
def demo(data: Path | None, port: int | None, today: datetime | None) -> None:
    """An invented clinic, served on 127.0.0.1."""
    from server.cli.demo_command import run_demo  # the demo's data is only needed here

    with plainly():
        run_demo(opened(data or Path("demo-data")), port=port, today=today.date() if today else None)


@click.command()
@data_option
def serve(data: Path | None) -> None:
    """Serve the clinic in the data folder."""
    from server.cli.serving import CannotListen, serve_forever

    write_log_lines()
    try:
        serve_forever(opened_clinic(data), announce=click.echo)
    except CannotListen as problem:
        raise Refusal(str(problem)) from problem


def _setting_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """An option for each of the clinic's settings, from their table. A text in several languages and a list are given repeatedly."""
    for field in reversed(ASKED):
        repeated = field.kind in (Kind.BY_LANGUAGE, Kind.LIST)
        needed = field.required and field.name != "languages"
        option = f"--{field.name.replace('_', '-')}"
        command = click.option(option, required=needed, multiple=repeated, help=field.hint)(command)
    return command


@click.command()
@data_option
@_setting_options
def clinic(data: Path | None, **typed: str | tuple[str, ...]) -> None:
    """Set up a live clinic in an empty data folder, or change what an existing one tells its patients.

    What may be left out stays as it is. --phone-hours is given once for each language: "Monday to Friday, 8 to 16" for the first,
    "es=lunes a viernes, de 8 a 16" for another.
    """
    runtime = opened(data)
    with plainly():
        changed = enter_clinic(runtime, typed)
    if changed is None:
        click.echo(
            f"The clinic is set up in {runtime.settings.data}. "
            "Keep its folder `keys` backed up apart from the database."
        )
    elif changed:
        click.echo(f"Changed: {', '.join(changed)}. Phones learn of it when they next fetch what is due.")
    else:
        click.echo("The clinic already has these entries; nothing was changed.")


@click.command("migrate")
@data_option
def migrate_command(data: Path | None) -> None:
    """Bring the database of the data folder up to this version."""
    with plainly():
        runtime = opened(data)
        migrate(runtime)
    click.echo("The database is up to date.")
    with runtime.store.reading() as session:
        left_behind = [] if was_chosen(session) else plans_holding_ladders(session)
        in_force = name_in_force(session)
    if left_behind:
        click.echo(
            f"Reminders of {', '.join(left_behind)} are no longer read from the plan: they go by the ladder {in_force} now. "
            "To keep days of your own, install them as a ladder and choose it: yearmark ladder."
        )


def _instant(_context: Any, _parameter: Any, text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        at = datetime.fromisoformat(text)
    except ValueError as problem:
        raise click.BadParameter("write an instant such as 2027-03-01T08:00:00Z") from problem
    return at.replace(tzinfo=UTC) if at.tzinfo is None else at


@click.command()
@data_option
@click.option("--now", "at", callback=_instant, help="Demo only: set the clinic's clock forward to this instant first.")
def tick(data: Path | None, at: datetime | None) -> None:
    """One pass of the clock: what opens, falls due, closes; whom to remind."""
    from server.jobs.clock import one_pass

    runtime = opened_clinic(data)
    with plainly():
        check_ready(runtime)
        missing = missing_keys(runtime) or not_compiled()
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
