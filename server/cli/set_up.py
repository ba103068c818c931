"""`yearmark set-up`: a live clinic from nothing, question by question; `./run install` calls it."""

import os
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path

import click
from sqlalchemy import select

from server.cli.asking import ask_new_password
from server.cli.opening import Refusal, closed_folder, data_option, opened, settings_of
from server.cli.set_up_answers import Answers, read_answers
from server.cli.set_up_questions import Missing, ask_answers
from server.config import SETTINGS, Settings, read_settings, with_file
from server.installation.called import called
from server.installation.clinic_entry import EntryProblem, check_new_clinic, enter_clinic
from server.installation.environment_file import KEYS, keys_beside, write_environment
from server.installation.runtime import Runtime
from server.installation.set_up import check_clinic, clinic_mode
from server.models import StaffAccount
from server.staff.account.accounts import account_named, make_account_or_say_why, password_problem
from server.words.catalogue import SOURCE_LANGUAGE
from server.words.language import Words

NEXT = """
What to do next:
  1. Start the server. On a machine that stays systemd does it, as an account of its own: server/recipes/README.md, “Run at boot”.
     To try it by hand: {program} serve --data {data}
  2. Put a web server with a certificate in front (server/proxy), so that {address} reaches port {port} here.
  3. Open {address}/sign-in, sign in as {email}, and set the second step up. Print the recovery codes.
     You land on Readiness, which lists what is left; here the same is printed by {program} check --data {data}
  4. Under Accounts invite a second data manager, and each nurse and surgeon: only those two enrol patients and open Today.
  5. Under Texts install the owners' texts, or decide on the descriptive ones.
  6. Under Settings look the settings through, send yourself a test message, enter the privacy notice and consent texts,
     the holidays, and who is told when a safety answer waits.
  7. Back up the data, and the keys in {keys} to another place. Without the keys nobody reads a name again.
     As the account that owns {data}, never as root; server/recipes has timers for every night:
       {program} backup --data {data} --to PLACE
       {program} backup-keys --data {data} --to ANOTHER-PLACE
       {program} drill --data {data}
  8. When nothing is left on Readiness, a nurse or surgeon signs in and enrols the first patient.
No shell is needed after that: settings, texts, plans and accounts have their pages.
"""
STOPPED = """
Stopped. What was written stays whole; what was not is asked again. To go on: the same command once more."""


@click.command("set-up")
@data_option
@click.option(
    "--answers", type=click.Path(path_type=Path, dir_okay=False), help="A TOML file with the answers; nothing is asked."
)
@click.option(
    "--password-file",
    type=click.Path(path_type=Path, dir_okay=False),
    help="With --answers: a file whose first line "
    "is the data manager's password; left out, it is the first line of the standard input.",
)
def set_up(data: Path | None, answers: Path | None, password_file: Path | None) -> None:
    """Set up a live clinic: its settings, its mail server, its first data manager. Asks at the terminal; safe to repeat.

    Each part is written whole: stopped at any point, it goes on where it was with the next start.
    """
    settings = settings_of(data)
    if answers is None and not sys.stdin.isatty():
        raise Refusal("set-up asks at a terminal. To set up without one give the answers in a file: --answers FILE")
    given = read_answers(answers) if answers else None
    try:
        _set_up(settings, given, password_file)
    except OSError as problem:
        what = f"{problem.filename or settings.data} cannot be written: {problem.strerror}"
        raise Refusal(
            f"{what}. Run as the account that is to own data and keys, then the same command once more"
        ) from problem
    except click.Abort as stopped:
        click.echo(STOPPED)
        raise click.exceptions.Exit(1) from stopped


def _set_up(settings: Settings, given: Answers | None, password_file: Path | None) -> None:
    """All is asked for and checked first; then clinic and account are written, each in one transaction.

    Answers in a file are refused where everything stands already, so that nobody takes a change in them for one of the clinic.
    """
    runtime = _found_clinic(settings)
    missing = _missing(runtime)
    is_finished = not (missing.clinic or missing.mail or missing.manager)
    if given is None:
        answers = _asked(runtime, missing)
    else:
        answers = given
        if not missing.clinic and not is_finished:
            click.echo("Of the answers only what was still missing is read: mail server and data manager.")
    password = _checked_password(runtime, answers, password_file, at_terminal=given is None) if missing.manager else ""
    if runtime is None:
        runtime = _new_clinic(settings, answers)
    elif missing.mail:
        _write_mail(settings, answers.mail)
    if missing.manager and (problem := _make(runtime, answers.manager, password)):
        raise Refusal(f"{problem.rstrip('.')}. The clinic is set up; start once more for its data manager")
    where = {"program": called(), "data": settings.data, "keys": runtime.settings.keys, "port": runtime.settings.port}
    click.echo(NEXT.format(address=check_clinic(runtime).base_url, email=_manager(runtime), **where))
    if given is not None and is_finished:
        raise Refusal(
            "this clinic exists already; the answers were not read. Nothing was changed: what is to be changed has its page, Settings"
        )


def _missing(runtime: Runtime | None) -> Missing:
    if runtime is None:
        return Missing(clinic=True, mail=True, manager=True)
    return Missing(clinic=False, mail=not runtime.settings.smtp_is_set, manager=_manager(runtime) is None)


def _asked(runtime: Runtime | None, missing: Missing) -> Answers:
    if missing.clinic:
        click.echo("A clinic of your own. Each answer can be changed later. Ctrl-C stops, and nothing is half done.")
        click.echo("Nothing is written before you have seen all answers once more.\n")
    return ask_answers(missing, lambda text: _email_problems(runtime, text))


def _found_clinic(settings: Settings) -> Runtime | None:
    """The clinic that an earlier start set up, or None. A demo's folder is refused."""
    if not any((settings.data / name).exists() for name in ("locks", "yearmark.sqlite3")):
        return None
    runtime = opened(settings.data)
    mode = clinic_mode(runtime)
    if mode == "demo":
        raise EntryProblem(f"{settings.data} holds a demo; give the clinic a folder of its own: --data DIR")
    if mode is None:
        runtime.store.engine.dispose()
        return None
    clinic = check_clinic(runtime)
    click.echo(f"{clinic.name} is set up in {settings.data}. Its settings are changed on the page Settings.")
    return runtime


def _new_clinic(settings: Settings, answers: Answers) -> Runtime:
    """The keys' place is written down before there is a key. What can be refused is refused before anything is written."""
    check_new_clinic(answers.clinic)
    told = {**_environment(settings, answers.mail), "YEARMARK_DATA": str(settings.data)}
    problem = closed_folder(read_settings(told))
    if problem:
        raise Refusal(problem)
    _write_mail(settings, answers.mail)
    runtime = opened(settings.data)
    enter_clinic(runtime, answers.clinic)
    click.echo(f"The clinic is set up in {settings.data}, its keys in {runtime.settings.keys}.")
    return runtime


def _write_mail(settings: Settings, mail: Mapping[str, str]) -> None:
    path = write_environment(settings.data, _environment(settings, mail))
    click.echo(f"What belongs to this machine stands in {path}.")


def _environment(settings: Settings, mail: Mapping[str, str]) -> dict[str, str]:
    """Beside the mail server whatever else this start was told by its environment, and where the keys lie: beside the data."""
    data = settings.data
    names = {setting.name for setting in SETTINGS} - {"YEARMARK_DATA"}
    kept = {name: text for name, text in with_file(data, os.environ).items() if name.removesuffix("_FILE") in names}
    if not (data / "keys").exists():
        kept.setdefault(KEYS, str(keys_beside(data)))
    answered = {name.removesuffix("_FILE") for name in mail}
    kept = {name: text for name, text in kept.items() if name.removesuffix("_FILE") not in answered}
    return {**kept, **mail}


def _manager(runtime: Runtime) -> str | None:
    with runtime.store.reading() as session:
        wanted = select(StaffAccount.email).where(
            StaffAccount.role == "data_manager", StaffAccount.disabled_at.is_(None)
        )
        return session.scalar(wanted.order_by(StaffAccount.id).limit(1))


def _checked_password(
    runtime: Runtime | None, answers: Answers, password_file: Path | None, *, at_terminal: bool
) -> str:
    """Raises Refusal before anything is written."""
    clinic = check_clinic(runtime).name if runtime else str(answers.clinic["name"])
    own = (*answers.manager.values(), clinic)
    if at_terminal:
        return ask_new_password(lambda typed: _password_problems(typed, own))
    password = _first_line(password_file)
    emails = [f"data_manager.email: {each}" for each in _email_problems(runtime, answers.manager["email"])]
    for sentence in (*emails, *(f"The password: {each}" for each in _password_problems(password, own))):
        raise Refusal(f"{sentence} Nothing was written")
    return password


def _make(runtime: Runtime, wanted: Mapping[str, str], password: str) -> str | None:
    return make_account_or_say_why(
        runtime, email=wanted["email"], name=wanted["name"], role="data_manager", password=password
    )


def _password_problems(password: str, own: Iterable[str]) -> list[str]:
    problem = password_problem(password, own=own)
    return [Words("staff", SOURCE_LANGUAGE).say(problem)] if problem else []


def _email_problems(runtime: Runtime | None, text: str) -> list[str]:
    if "@" not in text or " " in text:
        return ["Enter an e-mail address."]
    if runtime is None:
        return []
    with runtime.store.reading() as session:
        taken = account_named(session, text) is not None
    return ["There is an account of that address, of another role. Enter another address."] if taken else []


def _first_line(path: Path | None) -> str:
    if path is None:
        return sys.stdin.readline().rstrip("\r\n")
    try:
        with path.open(encoding="utf-8") as file:
            return file.readline().rstrip("\r\n")
    except (OSError, ValueError) as problem:
        raise Refusal(f"{path} cannot be read: {problem}") from problem
