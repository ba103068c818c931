"""Settings, as one table. Each comes from the environment, or from the file named by NAME_FILE; a wrong value stops the start.

What the environment does not say stands in `yearmark.env` in the data folder, so that every command finds the keys, the database and
the mail server of this clinic by --data alone.
"""

import os
import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path

MAILBOX = "mailbox"
ENVIRONMENT_FILE = "yearmark.env"


class SettingProblem(ValueError):
    """A setting that cannot be used: names it and says what it may be."""


@dataclass(frozen=True)
class Setting:
    name: str
    default: str
    help: str


SETTINGS = (
    Setting("YEARMARK_DATA", "yearmark-data", "the data folder: database, keys, lock, mailbox"),
    Setting("YEARMARK_KEYS", "", "the key folder; empty for `keys` in the data folder"),
    Setting("YEARMARK_DATABASE_URL", "", "empty for SQLite in the data folder, or postgresql://…"),
    Setting("YEARMARK_HOST", "127.0.0.1", "address the server listens on"),
    Setting("YEARMARK_PORT", "8017", "port the server listens on"),
    Setting(
        "YEARMARK_PROXY",
        "127.0.0.1",
        "address of the web server in front, as it reaches this one; it alone is believed when it says for whom it asks",
    ),
    Setting(
        "YEARMARK_SMTP",
        "",
        "host:port of the mail server; `mailbox` writes messages to the mailbox folder, from where somebody must send them; "
        "empty does so in a demo, and a live clinic does not start",
    ),
    Setting("YEARMARK_SMTP_USER", "", "account at the mail server; empty for none"),
    Setting("YEARMARK_SMTP_PASSWORD", "", "its password; best given as YEARMARK_SMTP_PASSWORD_FILE"),
    Setting(
        "YEARMARK_MAIL_FROM",
        "shoulder follow-up <follow-up@clinic.example>",
        "sender of e-mail, name <address>; a live clinic needs an address of its own, where somebody reads replies",
    ),
)


@dataclass(frozen=True)
class Settings:
    data: Path
    keys: Path
    database_url: str
    host: str
    port: int
    proxy: str
    smtp: tuple[str, int] | None  # None writes messages to the mailbox folder
    smtp_is_set: bool  # whether YEARMARK_SMTP says anything: a live clinic has to
    smtp_user: str
    smtp_password: str
    mail_from: str


def _value(environment: Mapping[str, str], setting: Setting) -> str:
    file = environment.get(f"{setting.name}_FILE")
    if not file:
        return environment.get(setting.name, setting.default)
    try:
        return Path(file).read_text(encoding="utf-8").strip()
    except OSError as problem:
        raise SettingProblem(f"{setting.name}_FILE names {file}, which cannot be read: {problem.strerror}") from problem


def with_file(folder: Path, given: Mapping[str, str]) -> dict[str, str]:
    """What the data folder's own file says, and over it what the environment does, be it NAME or NAME_FILE."""
    said = {name.removesuffix("_FILE") for name in given}
    return {
        **{name: text for name, text in _in_file(folder).items() if name.removesuffix("_FILE") not in said},
        **given,
    }


def _in_file(folder: Path) -> dict[str, str]:
    """Lines of NAME=value, quoted as a shell does. What is wrong is told by its line and never repeated: it may be a password."""
    path = folder / ENVIRONMENT_FILE
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except FileNotFoundError:
        return {}
    except OSError as problem:
        raise SettingProblem(f"{path} cannot be read: {problem.strerror}") from problem
    except ValueError as problem:
        raise SettingProblem(f"{path} cannot be read: {problem}") from problem
    return dict(_line(path, number, line.strip()) for number, line in enumerate(lines, 1) if _says_something(line))


def _says_something(line: str) -> bool:
    return bool(line.strip()) and not line.strip().startswith("#")


def _line(path: Path, number: int, line: str) -> tuple[str, str]:
    known = {setting.name for setting in SETTINGS[1:]}  # the folder itself cannot stand in a file in the folder
    try:
        (words,) = shlex.split(line)
    except ValueError as problem:
        raise SettingProblem(f"{path}, line {number}: write NAME='value', in quotes where it holds spaces") from problem
    name, equals, text = words.partition("=")
    if not equals or name.removesuffix("_FILE") not in known:
        raise SettingProblem(f"{path}, line {number} names no setting; they are {', '.join(sorted(known))}")
    return name, text


def _port(name: str, text: str) -> int:
    if not (text.isascii() and text.isdigit() and 0 <= int(text) <= 65535):
        raise SettingProblem(f"{name} is {text!r}; it must be a whole number from 0 to 65535")
    return int(text)


def _address(name: str, text: str) -> str:
    """As the operating system writes it, since it is compared with what that says of a connection."""
    try:
        return str(ip_address(text))
    except ValueError as problem:
        raise SettingProblem(f"{name} is {text!r}; it must be an address such as 127.0.0.1") from problem


def _smtp(text: str) -> tuple[str, int] | None:
    if text in ("", MAILBOX):
        return None
    host, colon, port = text.rpartition(":")
    if not colon or not host:
        raise SettingProblem(
            f"YEARMARK_SMTP is {text!r}; write host:port, for example mail.clinic.example:587, or {MAILBOX}"
        )
    return host, _port("YEARMARK_SMTP", port)


def data_folder(given: Mapping[str, str], data: Path | None) -> Path:
    """`data` (from a command's --data) goes before the environment."""
    return (data or Path(_value(given, SETTINGS[0]))).absolute()


def read_settings(environment: Mapping[str, str] | None = None, *, data: Path | None = None) -> Settings:
    """The settings of this process, of the folder as `data_folder` finds it. Raises SettingProblem."""
    given = os.environ if environment is None else environment
    folder = data_folder(given, data)
    said = with_file(folder, given)
    values = {setting.name: _value(said, setting) for setting in SETTINGS}
    return Settings(
        data=folder,
        keys=Path(values["YEARMARK_KEYS"] or folder / "keys").absolute(),
        database_url=values["YEARMARK_DATABASE_URL"] or f"sqlite:///{folder / 'yearmark.sqlite3'}",
        host=values["YEARMARK_HOST"],
        port=_port("YEARMARK_PORT", values["YEARMARK_PORT"]),
        proxy=_address("YEARMARK_PROXY", values["YEARMARK_PROXY"]),
        smtp=_smtp(values["YEARMARK_SMTP"]),
        smtp_is_set=bool(values["YEARMARK_SMTP"]),
        smtp_user=values["YEARMARK_SMTP_USER"],
        smtp_password=values["YEARMARK_SMTP_PASSWORD"],
        mail_from=values["YEARMARK_MAIL_FROM"],
    )
