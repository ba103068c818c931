"""`yearmark ladder`: reminder ladders of the clinic are checked, installed and listed; one of them is in force."""

from typing import Any

import click

from server.cli.opening import Refusal, data_option, opened_clinic
from server.reminders.ladder_install import (
    LONGEST_BYTES,
    CheckedLadder,
    LadderRefused,
    LadderUse,
    check_ladder_file,
    install_ladder,
    list_ladders,
    put_in_force,
)
from server.words.catalogue import SOURCE_LANGUAGE
from server.words.ladders import ladder_classes, step_words
from server.words.language import Words

ENGLISH = Words("staff", SOURCE_LANGUAGE)  # as the whole command line

file_argument = click.argument("file", type=click.File("rb"))
hash_option = click.option("--sha256", "stated", default="", help="The file's hash as its sender stated it.")


@click.group()
def ladder() -> None:
    """Reminder ladders: on which days people are reminded, and how."""


@ladder.command()
@file_argument
@hash_option
def check(file: Any, stated: str) -> None:
    """Check a reminder ladder of your own and print its steps."""
    try:
        _print(check_ladder_file(file.read(LONGEST_BYTES + 1), stated_sha256=stated))
    except LadderRefused as problem:
        raise Refusal(f"{file.name}: {problem}") from problem


@ladder.command()
@file_argument
@data_option
@hash_option
def install(file: Any, data: Any, stated: str) -> None:
    """Install a checked ladder. It never changes, and is in force once it is chosen."""
    runtime = opened_clinic(data)
    now = runtime.now()
    try:
        checked = check_ladder_file(file.read(LONGEST_BYTES + 1), stated_sha256=stated)
        with runtime.store.writing() as session:
            is_new = install_ladder(session, checked, now=now, by_id=None)
    except LadderRefused as problem:
        raise Refusal(f"{file.name} cannot be installed; nothing was changed:\n  {problem}") from problem
    name = checked.ladder.name
    if not is_new:
        click.echo(f"{name} is already there; nothing was changed.")
        return
    _print(checked)
    click.echo(f"{name} is installed and locked. `yearmark ladder choose {name}` puts it in force.")


@ladder.command("list")
@data_option
def list_command(data: Any) -> None:
    """List the ladders: where each is from, and which one is in force since when."""
    with opened_clinic(data).store.reading() as session:
        for each in list_ladders(session):
            click.echo(_line(each))


@ladder.command()
@click.argument("name")
@data_option
def choose(name: str, data: Any) -> None:
    """Let reminders go by the ladder NAME, such as standard@1, from now on."""
    runtime = opened_clinic(data)
    now = runtime.now()
    try:
        with runtime.store.writing() as session:
            changed = put_in_force(session, name, now=now, by_id=None)
    except LadderRefused as problem:
        raise Refusal(f"{problem}. Nothing was changed") from problem
    if changed:
        click.echo(f"Reminders go by {name} from now on, of running follow-ups too.")
    else:
        click.echo(f"{name} is already in force; nothing was changed.")


def _print(checked: CheckedLadder) -> None:
    click.echo(f"{checked.ladder.name}, {checked.ladder.title}: every step can be carried out.")
    click.echo(f"SHA-256 {checked.sha256.hex()}")
    for classes, steps in ladder_classes(checked.ladder):
        click.echo(ENGLISH.listed([ENGLISH.say(each) for each in classes]))
        for step in steps:
            click.echo(f"  {ENGLISH.say(step_words(step))}")


def _line(use: LadderUse) -> str:
    came = "comes with the program"
    if use.installed is not None:
        who = use.installed.installed_by_id
        by = "on the command line" if who is None else f"by account {who}"
        came = f"installed {use.installed.installed_at:%Y-%m-%d} {by}, {use.installed.sha256.hex()[:12]}"
    since = f" since {use.choice.chosen_at:%Y-%m-%d}" if use.choice is not None else ""
    line = f"{use.name:<18} {came}{f'; in force{since}' if use.in_force else ''}"
    return line + (f"  NOT USED: {use.why}" if use.why else "")
