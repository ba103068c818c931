"""`yearmark plan`: a clinic's own follow-up plans are checked, installed and listed; one of them starts new follow-ups."""

from pathlib import Path
from typing import Any

import click

from scoring.library import Library, load_library
from server.cli.opening import Refusal, data_option, opened_clinic
from server.clinic.settings import make_default
from server.installation.runtime import Runtime
from server.queries.texts_in_force import read_wording
from server.schedule.plan import Plan
from server.timepoints.plan_file import LONGEST_BYTES, CheckedPlan, PlanFileProblem, check_plan_file
from server.timepoints.plan_install import (
    PlanInstallation,
    PlanRefused,
    check_for_clinic,
    install_plan,
    known_already,
    to_be_decided,
)
from server.timepoints.plan_table import plan_table
from server.timepoints.plan_use import PlanUse, list_plans
from server.timepoints.plans import read_plans

file_argument = click.argument("file", type=click.File("rb"))
hash_option = click.option("--sha256", "stated", default="", help="The file's hash as its sender stated it.")


@click.group()
def plan() -> None:
    """Follow-up plans: what is asked when."""


@plan.command()
@file_argument
@hash_option
@click.option("--data", type=click.Path(path_type=Path, file_okay=False), help="Count licensed texts installed there.")
def check(file: Any, stated: str, data: Path | None) -> None:
    """Check a follow-up plan of your own and print what it asks when."""
    library = load_library()
    content = file.read(LONGEST_BYTES + 1)
    try:
        if data is None:
            checked = check_plan_file(content, library, stated_sha256=stated)
        else:
            with opened_clinic(data).store.reading() as session:
                checked = check_for_clinic(session, content, library, stated_sha256=stated)
                known_already(session, checked, library)
    except (PlanFileProblem, PlanRefused) as problem:
        raise Refusal(f"{file.name}: {problem}") from problem
    _say(checked, library)


@plan.command()
@file_argument
@data_option
@hash_option
def install(file: Any, data: Path | None, stated: str) -> None:
    """Install a checked plan. An installed plan never changes; follow-ups use it once it is the default."""
    runtime = opened_clinic(data)
    content = file.read(LONGEST_BYTES + 1)
    try:
        checked, done = _installed(runtime, content, stated)
    except (PlanFileProblem, PlanRefused) as problem:
        raise Refusal(f"{file.name} cannot be installed; nothing was changed:\n  {problem}") from problem
    if done.shipped:
        click.echo(f"{done.name} comes with the program; nothing was changed.")
    elif done.already:
        click.echo(f"{done.name} is already installed; nothing was changed.")
    else:
        _say(checked, runtime.library)
        click.echo(
            f"{done.name} is installed and locked. `yearmark plan default {done.name}` lets new follow-ups start with it."
        )


@plan.command("list")
@data_option
def list_command(data: Path | None) -> None:
    """List the plans: where each is from, which one new follow-ups start with, and how many go by each."""
    with opened_clinic(data).store.reading() as session:
        for each in list_plans(session):
            click.echo(_line(each))


@plan.command()
@click.argument("name")
@data_option
def default(name: str, data: Path | None) -> None:
    """Let new follow-ups start with the plan NAME, such as standard@1. Running ones keep theirs."""
    runtime = opened_clinic(data)
    now = runtime.now()
    try:
        with runtime.store.writing() as session:
            changed = make_default(session, runtime.library, name, now=now, by_id=None)
            waits = to_be_decided(read_plans(session).named(name), read_wording(session, runtime.library))
    except PlanRefused as problem:
        raise Refusal(f"{problem}. Nothing was changed") from problem
    if not changed:
        click.echo(f"New follow-ups already start with {name}; nothing was changed.")
    else:
        click.echo(f"New follow-ups start with {name} from now on. Those that run keep their plan.")
    if waits:
        click.echo(f"Not sent until a data manager decides on them, on the page Texts: {', '.join(waits)}.")


def _installed(runtime: Runtime, content: bytes, stated: str) -> tuple[CheckedPlan, PlanInstallation]:
    now = runtime.now()
    with runtime.store.writing() as session:
        checked = check_for_clinic(session, content, runtime.library, stated_sha256=stated)
        return checked, install_plan(session, checked, runtime.library, now=now, by_id=None)


def _say(checked: CheckedPlan, library: Library) -> None:
    click.echo(f"{checked.plan.name}, {checked.plan.title}: every timepoint can be asked.")
    click.echo(f"SHA-256 {checked.sha256.hex()}")
    _say_table(checked.plan, library)
    if checked.holds_ladder:
        click.echo("Its ladder is not used: how people are reminded is a setting of the clinic (yearmark ladder).")


def _say_table(found: Plan, library: Library) -> None:
    for line in plan_table(found, library):
        asked = ", ".join(f"{each.spec}{' (part)' if items else ''}" for each, items in line.asked)
        click.echo(f"{line.years_words or line.entry.code}: {line.items_words} items, {line.entry.minutes} minutes")
        click.echo(f"  {asked}\n  {line.window}")


def _line(use: PlanUse) -> str:
    row = use.installed
    by = (
        ""
        if row is None
        else "on the command line"
        if row.installed_by_id is None
        else f"by account {row.installed_by_id}"
    )
    came = (
        "comes with the program"
        if row is None
        else f"installed {row.installed_at:%Y-%m-%d} {by}, {row.sha256.hex()[:12]}"
    )
    running = f"{use.running} running follow-up{'' if use.running == 1 else 's'}"
    said = f"{use.name:<18} {came}; {running}{'; new follow-ups start with it' if use.default else ''}"
    return said + (f"  NOT USED: {use.why}" if use.why else "")
