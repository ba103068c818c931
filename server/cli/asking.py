"""Questions at a terminal: each answer is checked at once, and asked for again with the reason."""

from collections.abc import Callable, Iterable

import click

Problems = Callable[[str], Iterable[str]]


def ask(question: str, problems: Problems, *, hint: str = "", default: str = "", hidden: bool = False) -> str:
    """The first answer in which `problems` finds nothing."""
    if hint:
        click.secho(f"  {hint}", dim=True)
    while True:
        answer = click.prompt(question, default=default, show_default=bool(default), hide_input=hidden)
        text = str(answer).strip() if not hidden else str(answer)
        found = list(problems(text))
        if not found:
            return text
        for sentence in found:
            click.secho(f"  Not taken: {sentence}", fg="red")


def ask_new_password(problems: Problems) -> str:
    """Typed twice, never shown."""
    while True:
        password = ask("Password", problems, hidden=True, hint="15 characters or more; a sentence is easy to keep.")
        if click.prompt("The same once more", hide_input=True, default="", show_default=False) == password:
            return password
        click.secho("  Not taken: the two are not the same.", fg="red")
