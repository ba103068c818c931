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


@click.command("reset-second-step")
@data_option
@click.option("--email", required=True)
def reset_second_step(data: Path | None, email: str) -> None:
    """Forget passkeys, apps and recovery codes of an account whose owner lost them: the next sign-in sets one up anew."""
    from server.staff.account.accounts import account_named
    from server.staff.account.second_factors import reset_second_factors

    runtime = opened_clinic(data)
    now = runtime.now()
    with runtime.store.writing() as session:
        found = account_named(session, email)
        if found is None:
            raise Refusal(f"there is no account for {email.strip().lower()}")
        reset_second_factors(session, found, now=now, real_now=runtime.real_clock())
    click.echo(f"{email} sets a second step up at the next sign-in. The password is still needed.")


def _password() -> str:
    if sys.stdin.isatty():
        return str(click.prompt("Password", hide_input=True, confirmation_prompt=True))
    return sys.stdin.readline().rstrip("\r\n")
