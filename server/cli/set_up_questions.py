"""What `yearmark set-up` asks at a terminal. All answers are shown before anything is written, and each can be changed by its number."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import click

from server.cli.asking import Problems, ask
from server.cli.set_up_answers import FIRST, Answers
from server.clinic.settings import ASKED
from server.config import MAILBOX, SettingProblem, read_settings
from server.fields.field import Field, Kind, named
from server.installation.clinic_entry import BETWEEN_LANGUAGE_AND_TEXT, problems_of
from server.installation.set_up import LANGUAGES

MANAGER = "The first data manager, who sees to settings, texts and accounts."
YES = "yes"


@dataclass(frozen=True)
class Missing:
    """Which parts a clinic has not yet; only these are asked for."""

    clinic: bool
    mail: bool
    manager: bool


@dataclass(frozen=True)
class _Line:
    """One answer, as the list of all names it; `again` asks for it, at first and once more."""

    label: str
    again: Callable[[], None]
    shown: Callable[[], str]


def ask_answers(missing: Missing, email_problems: Problems) -> Answers:
    """Every question of what is missing, then all answers with their numbers until the person says yes."""
    asking = _Asking(email_problems)
    lines = asking.lines(missing)
    for line in lines:
        line.again()
    while lines and (number := _number_to_change(lines)):
        lines[number - 1].again()
    return Answers(asking.clinic, asking.mail, asking.manager)


def _number_to_change(lines: list[_Line]) -> int | None:
    click.echo("\nYour answers. Nothing is written yet.")
    for number, line in enumerate(lines, 1):
        click.echo(f"  {number:2}  {line.label}: {line.shown()}")
    wrong = f"Type {YES}, or a number from 1 to {len(lines)}."

    def problems(text: str) -> list[str]:
        return [] if text.lower() == YES or (text.isdecimal() and 1 <= int(text) <= len(lines)) else [wrong]

    answer = ask(f"All as it should be? Type {YES}, or the number of an answer to change", problems)
    return None if answer.lower() == YES else int(answer)


class _Asking:
    """The answers so far."""

    def __init__(self, email_problems: Problems) -> None:
        self.clinic: dict[str, str | tuple[str, ...]] = {}
        self.mail: Mapping[str, str] = {}
        self.manager: dict[str, str] = {}
        self._email_problems = email_problems

    def lines(self, missing: Missing) -> list[_Line]:
        of_clinic = [self._setting(named(ASKED, name)) for name in FIRST]
        of_mail = [_Line("Mail server", self._ask_mail, self._shown_mail)]
        of_manager = [
            _Line("Name of the data manager", self._ask_name, lambda: self.manager["name"]),
            _Line("E-mail of the data manager", self._ask_email, lambda: self.manager["email"]),
        ]
        parts = ((missing.clinic, of_clinic), (missing.mail, of_mail), (missing.manager, of_manager))
        return [line for is_missing, part in parts if is_missing for line in part]

    def _setting(self, row: Field) -> _Line:
        return _Line(row.label, lambda: self._ask_setting(row), lambda: _shown(self.clinic[row.name]))

    def _ask_setting(self, row: Field) -> None:
        if row.kind == Kind.BY_LANGUAGE:
            self.clinic[row.name] = _ask_by_language(row, str(self.clinic["languages"]).split(","))
        elif row.name == "languages":
            self._ask_languages(row)
        elif row.name == "mail_from":
            self.clinic[row.name] = ask(
                row.label, _sender_problems, hint="Name <address>, where somebody reads replies."
            )
        else:
            self.clinic[row.name] = ask(row.label, lambda text: problems_of(row.name, text), hint=row.hint)

    def _ask_languages(self, row: Field) -> None:
        """With other languages the texts by language are asked for again, since these stand in the former ones."""
        before = self.clinic.get(row.name)
        answer = ask(row.label, lambda text: problems_of(row.name, text), hint=row.hint, default=LANGUAGES)
        self.clinic[row.name] = ",".join(part.strip() for part in answer.split(","))
        if before not in (None, self.clinic[row.name]):
            for other in (row for row in ASKED if row.kind == Kind.BY_LANGUAGE and row.name in self.clinic):
                self._ask_setting(other)

    def _ask_mail(self) -> None:
        self.mail = ask_mail()

    def _shown_mail(self) -> str:
        user, server = self.mail.get("YEARMARK_SMTP_USER"), self.mail["YEARMARK_SMTP"]
        return f"{server}, account {user}, its password not shown" if user else f"{server}, without an account"

    def _ask_name(self) -> None:
        click.echo(f"\n{MANAGER}")
        self.manager["name"] = ask("Name", lambda text: [] if text else ["Enter the name."])

    def _ask_email(self) -> None:
        self.manager["email"] = ask("E-mail, by which to sign in", self._email_problems)


def _shown(answer: str | tuple[str, ...]) -> str:
    return (
        answer
        if isinstance(answer, str)
        else "; ".join(each.replace(BETWEEN_LANGUAGE_AND_TEXT, ": ", 1) for each in answer)
    )


def _ask_by_language(row: Field, codes: list[str]) -> tuple[str, ...]:
    """Needed in the first language; what is empty in another is left to the first."""
    found: list[str] = []
    for place, code in enumerate(codes):

        def problems(text: str, code: str = code, needed: bool = place == 0) -> list[str]:
            return problems_of(row.name, text, language=code) if text or needed else []

        text = ask(f"{row.label} ({code})", problems, hint=row.hint if place == 0 else "")
        found += [f"{code}{BETWEEN_LANGUAGE_AND_TEXT}{text}"] if text else []
    return tuple(found)


def _sender_problems(text: str) -> list[str]:
    return problems_of("mail_from", text) if text else ["A clinic writes from an address of its own. Enter it."]


def ask_mail() -> dict[str, str]:
    """The mail server, its account and its password; the latter two may be empty."""
    hint = f"host:port, such as mail.clinic.example:587; {MAILBOX} writes messages to a folder, and somebody has to send them."
    values = {"YEARMARK_SMTP": ask("Mail server", _server_problems, hint=hint)}
    if values["YEARMARK_SMTP"] == MAILBOX:
        return values
    user = ask("Account at the mail server", lambda _text: (), hint="Empty where it asks for none.")
    if user:
        values["YEARMARK_SMTP_USER"] = user
        values["YEARMARK_SMTP_PASSWORD"] = ask("Its password", lambda _text: (), hidden=True)
    return values


def _server_problems(text: str) -> list[str]:
    if not text:
        return ["Without a mail server nobody is reminded."]
    try:
        read_settings({"YEARMARK_SMTP": text}, data=Path())
    except SettingProblem:
        return [f"“{text}” is no mail server; write host:port, such as mail.clinic.example:587, or {MAILBOX}."]
    return []
