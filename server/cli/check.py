"""`yearmark check`: what is not ready for patients."""

from pathlib import Path

import click

from server.cli.opening import data_option, known_folder, opened, plainly
from server.installation.readiness import Finding, database_is_usable, findings
from server.words.catalogue import SOURCE_LANGUAGE
from server.words.language import Words
from server.words.phrase import Phrase


@click.command()
@data_option
def check(data: Path | None) -> None:
    """List what is not ready for patients, with what to do. Exit code 1 while something is left, 0 when all is ready.

    Also beside a running server. The mail server and the clinic's own address are asked, some seconds each at most.
    The data manager's page Readiness shows the same.
    """
    known_folder(data)
    with plainly():
        runtime = opened(data)
        database = database_is_usable(runtime)
        found = [database, *(findings(runtime, now=runtime.real_clock()) if database.ready else [])]
    left = [each for each in found if not each.ready]
    for number, each in enumerate(left, 1):
        click.echo(_not_ready(number, each))
    if left:
        click.echo(f"Not ready for patients: {len(left)} of {len(found)}. Ready are {len(found) - len(left)}.")
    for each in found:
        if each.ready:
            click.echo(f"  {_say(each.what)}")
    if left:
        raise click.exceptions.Exit(1)
    click.echo(f"All {len(found)} are ready for patients.")


def _not_ready(number: int, each: Finding) -> str:
    return f"{number}. {_say(each.what)}\n   {_say(each.do)}\n"


def _say(said: Phrase | None) -> str:
    return Words("staff", SOURCE_LANGUAGE).sentences([said]) if said else ""
