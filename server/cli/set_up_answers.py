"""What `yearmark set-up` has to be told, and reading it from a file for those who automate; server/cli/set_up_questions.py asks for it."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from server.cli.opening import Refusal
from server.clinic.settings import ASKED
from server.installation.clinic_entry import BETWEEN_LANGUAGE_AND_TEXT, Typed

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
