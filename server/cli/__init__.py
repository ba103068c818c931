"""The command line. Commands are thin: each opens the runtime, calls one function and prints one result."""

import os
from typing import Any

import click

from server.cli.account import account, reset_second_step
from server.cli.backup import backup, backup_keys
from server.cli.check import check
from server.cli.drill import drill
from server.cli.ladder import ladder
from server.cli.life_table import life_table
from server.cli.lock import lock
from server.cli.opening import plainly
from server.cli.plan import plan
from server.cli.records import export, questionnaire, score
from server.cli.rescore import rescore
from server.cli.restore import restore
from server.cli.running import clinic, demo, migrate_command, serve, tick
from server.cli.set_up import set_up
from server.cli.stats import stats
from server.cli.text import text

__all__ = ["main"]

COMMANDS = (
    demo,
    serve,
    set_up,
    check,
    clinic,
    migrate_command,
    account,
    reset_second_step,
    backup,
    backup_keys,
    restore,
    drill,
    tick,
    export,
    score,
    rescore,
    questionnaire,
    stats,
    text,
    plan,
    ladder,
    life_table,
    lock,
)


class _Plain(click.Group):
    """What a person can mend is said in a sentence, whichever command it stopped."""

    def invoke(self, ctx: click.Context) -> Any:
        os.umask(0o077)  # database, keys, mail and exports: whatever a command makes is its own account's alone
        with plainly():
            return super().invoke(ctx)


@click.group(cls=_Plain, context_settings={"help_option_names": ["-h", "--help"]})
def main() -> None:
    """Yearmark follows people for decades after shoulder surgery."""


for command in COMMANDS:
    main.add_command(command)
