"""What `yearmark set-up` has to be told: asked at the terminal, or read from a file by those who automate."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from server.cli.asking import ask
from server.cli.opening import Refusal
from server.clinic.settings import ASKED
from server.config import MAILBOX, SettingProblem, read_settings
from server.fields.field import Field, Kind
from server.installation.clinic_entry import BETWEEN_LANGUAGE_AND_TEXT, Typed, problems_of
from server.installation.set_up import LANGUAGES

# The rest may stay empty at first and is entered on the page Settings.
FIRST = (
    "name", "languages", "phone", "phone_hours", "closed_phone", "emergency_number", "time_zone", "base_url", "mail_from",
)  # fmt: skip
MAIL = {"smtp": "YEARMARK_SMTP", "smtp_user": "YEARMARK_SMTP_USER", "smtp_password_file": "YEARMARK_SMTP_PASSWORD_FILE"}
MANAGER = ("name", "email")


@dataclass(frozen=True)
class Answers:
    """`clinic`: as `yearmark clinic` is told; `mail`: settings of the environment; `manager`: name and e-mail, not the password."""

    clinic: Typed = field(default_factory=dict)
    mail: Mapping[str, str] = field(default_factory=dict)
    manager: Mapping[str, str] = field(default_factory=dict)


def ask_clinic() -> Typed:
    """One question for each setting that a live clinic cannot be without; hours in each of its languages."""
    typed: dict[str, str | tuple[str, ...]] = {}
    rows = {row.name: row for row in ASKED}
    for row in (rows[name] for name in FIRST):
        if row.kind == Kind.BY_LANGUAGE:
            typed[row.name] = tuple(_ask_by_language(row, str(typed["languages"]).split(",")))
        elif row.name == "mail_from":
            typed[row.name] = ask(row.label, _sender_problems, hint="Name <address>, where somebody reads replies.")
        else:
            default = LANGUAGES if row.name == "languages" else ""
            answer = ask(row.label, lambda text, name=row.name: problems_of(name, text), hint=row.hint, default=default)  # type: ignore[misc]
            typed[row.name] = (
                ",".join(part.strip() for part in answer.split(",")) if row.name == "languages" else answer
            )
    return typed


def _ask_by_language(row: Field, codes: list[str]) -> list[str]:
    """Needed in the first language; what is empty in another is left to the first."""
    found = []
    for place, code in enumerate(codes):

        def problems(text: str, code: str = code, needed: bool = place == 0) -> list[str]:
            return problems_of(row.name, text, language=code) if text or needed else []

        text = ask(f"{row.label} ({code})", problems, hint=row.hint if place == 0 else "")
        found += [f"{code}{BETWEEN_LANGUAGE_AND_TEXT}{text}"] if text else []
    return found


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


def read_answers(path: Path) -> Answers:
    """From a TOML file, by the names of the settings. Raises Refusal for a name that is none, so that none is passed over."""
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as problem:
        raise Refusal(f"{path} cannot be read: {problem}") from problem
    manager = found.pop("data_manager", {})
    known = {row.name for row in ASKED} | set(MAIL)
    wrong = sorted(set(found) - known) + [f"data_manager.{name}" for name in manager if name not in MANAGER]
    if wrong:
        raise Refusal(
            f"{path} has {', '.join(wrong)}, which is no question; there are {', '.join(sorted(known))} and data_manager"
        )
    lacking = [name for name in (*FIRST, "smtp") if not found.get(name)]
    lacking += [f"data_manager.{name}" for name in MANAGER if not manager.get(name)]
    if lacking:
        raise Refusal(f"{path} does not say {', '.join(lacking)}; nothing was set up")
    if "@" not in str(manager["email"]):
        raise Refusal(f"{path}, data_manager.email: enter an e-mail address; nothing was set up")
    mail = {MAIL[name]: str(found.pop(name)) for name in MAIL if name in found}
    return Answers({name: _typed(value) for name, value in found.items()}, mail, manager)


def _typed(value: Any) -> str | tuple[str, ...]:
    """A table is a text by language, a list several texts."""
    if isinstance(value, dict):
        return tuple(f"{code}{BETWEEN_LANGUAGE_AND_TEXT}{text}" for code, text in value.items())
    return tuple(map(str, value)) if isinstance(value, list) else str(value)
