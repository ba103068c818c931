"""Writes `yearmark.env`, the part of the settings that belongs to the machine: keys, database, mail server."""

import shlex
from collections.abc import Mapping
from pathlib import Path

from server.config import ENVIRONMENT_FILE, SettingProblem, read_settings
from server.store.whole_file import write_whole

KEYS = "YEARMARK_KEYS"
HEAD = """\
# Settings of this clinic that belong to the machine. Every yearmark command that is given this data folder reads them;
# the environment goes before them. It may hold a password: keep its mode 0600. After a change start the server again.
"""


def write_environment(folder: Path, values: Mapping[str, str]) -> Path:
    """Whole or not at all, for its owner alone. Raises SettingProblem for a value that cannot be, and writes nothing."""
    for name, text in values.items():
        if "\n" in text or "\r" in text:
            raise SettingProblem(f"{name} must be one line")
    read_settings({**values, "YEARMARK_DATA": str(folder)})
    path = folder / ENVIRONMENT_FILE
    write_whole(path, environment_text(values).encode())
    return path


def environment_text(values: Mapping[str, str]) -> str:
    """The file's content. Each value is one line."""
    return HEAD + "".join(f"{name}={shlex.quote(text)}\n" for name, text in sorted(values.items()))


def keys_beside(folder: Path) -> Path:
    """Where the keys of a data folder lie when nobody says otherwise: a backup of the data then holds none."""
    return folder.with_name(f"{folder.name}-keys")


def with_others(text: str, values: Mapping[str, str]) -> str:
    """The same file with other values, an empty one for no line; what people wrote beside the settings stays."""
    names = {name.removesuffix("_FILE") for name in values}
    replaced = tuple(f"{name}{end}=" for name in sorted(names) for end in ("", "_FILE"))
    kept = [line for line in text.splitlines() if not line.strip().startswith(replaced)]
    return "\n".join([*kept, *(f"{name}={shlex.quote(value)}" for name, value in values.items() if value)]) + "\n"
