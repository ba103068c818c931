"""`yearmark life-table`: the population's deaths, with which those of a series are compared, are installed, listed and removed."""

from pathlib import Path
from typing import Any

import click

from server.cli.opening import Refusal, data_option, opened_clinic
from server.installation.runtime import Runtime
from server.models import InstalledLifeTable
from server.outcomes.arithmetic.life_table import NO_YEAR, LifeTable
from server.outcomes.life_tables import (
    LONGEST_BYTES,
    LifeTableRefused,
    every_life_table,
    install_life_table,
    read_installed,
    remove_life_table,
)


@click.command("life-table")
@click.argument("file", type=click.File("rb"), required=False)
@data_option
@click.option("--source", default="", help="Where the table is from, as figures name it. Empty: the file's name.")
@click.option("--remove", is_flag=True, help="Take the table away that is in force.")
def life_table(file: Any, data: Path | None, source: str, remove: bool) -> None:
    """Install a life table, with which the deaths of a series are compared; without FILE, list what is installed.

    A CSV with the columns sex (female, male), age in whole years, and qx, the probability of dying within a year, or rate, deaths per
    person-year; if wanted also year. Every year has both sexes and each age from the first to the last. Another table takes the place
    of the one in force.
    """
    if remove and file is not None:
        raise Refusal("name a file to install, or --remove; not both")
    runtime = opened_clinic(data)
    if remove:
        with runtime.store.writing() as session:
            gone = remove_life_table(session, now=runtime.now(), by_id=None)
        click.echo(
            "There is no life table; nothing was changed."
            if gone is None
            else f"Removed: {gone}. Deaths are compared with none."
        )
    elif file is None:
        with runtime.store.reading() as session:
            for row in every_life_table(session):
                click.echo(_line(row))
            if not any(row.ended_at is None for row in every_life_table(session)):
                click.echo("No life table is in force: deaths are compared with none.")
    else:
        _install(runtime, file, source)


def _install(runtime: Runtime, file: Any, source: str) -> None:
    content = file.read(LONGEST_BYTES + 1)
    try:
        with runtime.store.writing() as session:
            done = install_life_table(session, content, source or Path(file.name).name, now=runtime.now(), by_id=None)
    except LifeTableRefused as problem:
        raise Refusal(f"{file.name} cannot be installed; nothing was changed:\n  {problem}") from problem
    if done.already:
        click.echo("This table is already in force; nothing was changed.")
        return
    click.echo(f"Installed: {_said(done.table)}. Deaths are compared with it from now on.")
    if done.replaced is not None:
        click.echo(f"It takes the place of: {done.replaced}.")
    if not source:
        click.echo("Figures name the file as its source; --source says it in words.")


def _line(row: InstalledLifeTable) -> str:
    stands = "in force" if row.ended_at is None else f"until {row.ended_at:%Y-%m-%d}"
    try:
        said = _said(read_installed(row))
    except LifeTableRefused as problem:
        said = f"NOT USED: {problem}"
    return f"{row.source}: installed {row.installed_at:%Y-%m-%d}, {row.sha256.hex()[:12]}, {stands}; {said}"


def _said(table: LifeTable) -> str:
    ages = f"women and men of ages {table.first_age} to {table.last_age}"
    if table.years == (NO_YEAR,):
        return f"{ages}, for every year"
    return f"{ages}, {len(table.years)} years from {table.years[0]} to {table.years[-1]}"
