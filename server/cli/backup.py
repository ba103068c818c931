"""`yearmark backup` and `yearmark backup-keys`: copies of the data to one place, of the keys to another."""

import sys
from pathlib import Path
from typing import Any

import click

from server.cli.opening import data_option, folder_path, opened_clinic, plainly
from server.cli.progress import progress_bar
from server.config import ENVIRONMENT_FILE

to_option = click.option(
    "--to", "place", required=True, type=folder_path,
    help="The folder that holds the copies, best on another disk.",
)  # fmt: skip


@click.command()
@data_option
@to_option
def backup(data: Path | None, place: Path) -> None:
    """Copy the clinic's data into a new folder in PLACE, also beside a running server, and read the copy again.

    Old copies go by a rule: all of 7 days stay, one a week for 5 weeks, one a month for 12 months, one a year for good. Names, answers
    and links in it are sealed under the keys, which it does not hold: copy those with `yearmark backup-keys`. Exit code 1 where the
    copy was made and keys are missing, without which nobody can read it.
    """
    from server.installation.backup import copy_data
    from server.installation.key_check import key_problem

    runtime = opened_clinic(data)
    with plainly(), progress_bar(0, "Database") as bar:
        made = copy_data(runtime, place, lambda done, length: _show(bar, done, length))
    click.echo(f"{made.folder}: {made.manifest.length} bytes, read again. Copy the keys too: yearmark backup-keys")
    _say_what_went(made.taken_away)
    if place.stat().st_dev == runtime.settings.data.stat().st_dev:
        click.echo("This place is on the disk of the data and dies with it: take the copy to another one.", err=True)
    problem = key_problem(runtime)
    if problem:
        click.echo(f"THE DATA WERE COPIED, AND THEIR KEYS ARE NOT ALL THERE: {problem}", err=True)
        sys.exit(1)


@click.command("backup-keys")
@data_option
@to_option
def backup_keys(data: Path | None, place: Path) -> None:
    """Copy the keys and `yearmark.env` into a new folder in PLACE, which must be another than that of the data.

    Without them no name, contact, link or answer in any copy of the data can be read by anybody. Each new patient has a key of their
    own: copy the keys as often as the data, and after them, so that no copied patient is without one.
    """
    from server.installation.backup import copy_keys

    runtime = opened_clinic(data)
    with plainly():
        made = copy_keys(runtime, place)
    has_settings = ENVIRONMENT_FILE in made.manifest.files
    what = f"{len(made.manifest.files) - has_settings} keys" + (f" and {ENVIRONMENT_FILE}" if has_settings else "")
    click.echo(f"{made.folder}: {what}, read again. Keep them apart from the data.")
    if not has_settings:
        click.echo(
            f"There is no {ENVIRONMENT_FILE} in the data folder, so the settings of this machine are in no copy."
        )
    _say_what_went(made.taken_away)


def _show(bar: Any, done: int, length: int) -> None:
    bar.length = length
    bar.update(done - bar.pos)


def _say_what_went(taken_away: tuple[Path, ...]) -> None:
    if taken_away:
        click.echo(f"Old copies taken away by the rule: {', '.join(folder.name for folder in taken_away)}")
