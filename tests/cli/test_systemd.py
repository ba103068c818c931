"""The unit by which systemd starts the server: its text is sound, and its very line starts a server that stops in time."""

import os
import shlex
import shutil
import signal
import subprocess
import sys
from configparser import ConfigParser
from pathlib import Path

import pytest

from tests.cli.shell import Shell
from tests.structure.tree import ROOT

RECIPES = ROOT / "server" / "recipes"
UNITS = sorted(path.name for path in RECIPES.glob("yearmark*"))
PROGRAM = Path(sys.executable).with_name("yearmark")


def here(name: str, data: Path) -> str:
    """The unit with this machine's program and folders in place of a clinic's."""
    text = (RECIPES / name).read_text(encoding="utf-8")
    for recommended, instead in (("/srv/yearmark/.venv/bin/yearmark", PROGRAM), ("/var/lib/yearmark", data)):
        assert recommended in text, f"{name} no longer says {recommended}"
        text = text.replace(recommended, str(instead))
    return text.replace("/mnt", str(data.parent))


def service(text: str) -> dict[str, str]:
    parser = ConfigParser(interpolation=None)
    parser.optionxform = str  # type: ignore[assignment, method-assign]
    parser.read_string(text)
    return dict(parser["Service"])


def test_systemd_finds_nothing_wrong_with_the_units(tmp_path: Path) -> None:
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd-analyze: no systemd is installed")
    for name in UNITS:
        (tmp_path / name).write_text(
            here(name, tmp_path) if name.endswith(".service") else (RECIPES / name).read_text()
        )
    command = ["systemd-analyze", "verify", "--man=no", *(str(tmp_path / name) for name in UNITS)]
    checked = subprocess.run(command, capture_output=True, text=True)
    assert (checked.returncode, checked.stderr) == (0, "")


def test_the_line_that_starts_the_server_does_and_sigterm_stops_it_within_the_units_time(live: Shell) -> None:
    unit = service(here("yearmark.service", live.data))
    settings = "".join(f"{name}={shlex.quote(text)}\n" for name, text in live.environment.items())
    (live.data / "yearmark.env").write_text(settings, encoding="utf-8")
    environment = {"PATH": os.environ["PATH"], "YEARMARK_PORT": "0"}
    with subprocess.Popen(shlex.split(unit["ExecStart"]), env=environment, stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout is not None
            assert server.stdout.readline().startswith("Serving on http://127.0.0.1:")
            server.send_signal(signal.SIGTERM)
            assert server.wait(int(unit["TimeoutStopSec"])) == 0
        finally:
            server.kill()


def test_the_lines_of_the_timers_copy_data_and_keys_to_two_places_and_prove_that_they_can_be_restored(
    live: Shell,
) -> None:
    data, keys = (service(here(f"{name}.service", live.data)) for name in ("yearmark-backup", "yearmark-backup-keys"))
    environment = {"PATH": os.environ["PATH"], **live.environment}
    proof = service(here("yearmark-drill.service", live.data))["ExecStart"]
    for line in (data["ExecStart"], keys["ExecStart"], proof):
        done = subprocess.run(shlex.split(line), env=environment, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
    copies = [next((live.data.parent / place / "yearmark").iterdir()) for place in ("copies", "keys")]
    assert all(each.is_dir() and any(each.iterdir()) for each in copies)
    for unit, place in ((data, "copies"), (keys, "keys")):
        assert unit["ReadWritePaths"].split()[1:] == [(live.data.parent / place / "yearmark").as_posix()]


def test_the_keys_are_copied_also_when_the_disk_for_the_data_is_full_or_gone(live: Shell) -> None:
    (live.data.parent / "copies").write_text("no folder can be made here", encoding="utf-8")
    environment = {"PATH": os.environ["PATH"], **live.environment}
    ended = {}
    for name in ("yearmark-backup", "yearmark-backup-keys"):
        unit = service(here(f"{name}.service", live.data))
        assert "ExecStartPost" not in unit
        done = subprocess.run(shlex.split(unit["ExecStart"]), env=environment, capture_output=True, text=True)
        ended[name] = done.returncode
    assert ended["yearmark-backup"] != 0 and ended["yearmark-backup-keys"] == 0
    assert {"yearmark-backup.timer", "yearmark-backup-keys.timer"} <= set(UNITS)
