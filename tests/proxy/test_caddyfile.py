"""Caddy finds nothing to remark in the file that a clinic copies, so that a remark it does make is about the clinic's own lines."""

import shutil
import subprocess

import pytest

from tests.proxy.caddy import reason_missing
from tests.structure.tree import ROOT


def test_the_file_is_read_without_a_warning() -> None:
    reason = reason_missing()
    if reason:
        pytest.skip(f"caddy: {reason}")
    command = [shutil.which("caddy") or "caddy", "adapt", "--config", str(ROOT / "server" / "proxy" / "Caddyfile")]
    read = subprocess.run(command, capture_output=True, text=True, check=True)
    assert "reverse_proxy" in read.stdout and '"level":"warn"' not in read.stderr
