"""Commands about who may sign in. No password stands on the line: other users of the machine read it there, and the shell keeps it."""

import sys
from pathlib import Path

import click

from server.cli.opening import Refusal, data_option, opened_clinic


@click.command()
@data_option
@click.option("--email", required=True)
@click.option("--name", required=True)
@click.option("--role", required=True, type=click.Choice(["nurse", "surgeon", "data_manager"]))
def account(data: Path | None, email: str, name: str, role: str) -> None:
    """Make an account for a member of staff, or reset the one of this e-mail: name, role and password.

    The password, at least 15 characters, is asked for twice at a terminal; otherwise it is the first line of the standard input.
    """
    from server.staff.account.accounts import make_account_or_say_why

    runtime = opened_clinic(data)  # before a password is asked for: nobody types one for a folder that is no clinic
    problem = make_account_or_say_why(runtime, email=email, name=name, role=role, password=_password())
    if problem:
        raise Refusal(problem)
    click.echo(f"{email} can sign in as {role.replace('_', ' ')}.")


def _password() -> str:
    if sys.stdin.isatty():
        return str(click.prompt("Password", hide_input=True, confirmation_prompt=True))
    return sys.stdin.readline().rstrip("\r\n")
