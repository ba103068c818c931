"""Writes `yearmark.env`, the part of the settings that belongs to the machine: keys, database, mail server."""

import shlex
from collections.abc import Mapping
from pathlib import Path

from server.config import ENVIRONMENT_FILE, SettingProblem, read_settings
from server.trust.keys import write_whole

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
    lines = "".join(f"{name}={shlex.quote(text)}\n" for name, text in sorted(values.items()))
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    write_whole(path, f"{HEAD}{lines}".encode())
    return path
