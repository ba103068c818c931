"""A server that is asked to stop finishes what it is at, and ends well."""

import os
import signal
import subprocess
import sys
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tests.cli.shell import Shell
from tests.structure.tree import ROOT


def said(server: subprocess.Popen[str]) -> str:
    assert server.stdout is not None
    return server.stdout.readline()


def fetched(address: str) -> str:
    with urllib.request.urlopen(address, timeout=60) as answer:
        return str(answer.read().decode())


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT], ids=["SIGTERM", "SIGINT"])
def test_a_request_that_is_being_answered_is_answered_and_then_the_server_ends(
    live: Shell, tmp_path: Path, how: signal.Signals
) -> None:
    fifo = tmp_path / "fifo"
    os.mkfifo(fifo)
    command = [sys.executable, "-m", "tests.cli.slow_child", str(live.data), str(fifo)]
    environment = {**os.environ, **live.environment, "YEARMARK_PORT": "0"}
    with (
        ThreadPoolExecutor(1) as phone,
        subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True) as server,
    ):
        try:
            address = said(server).split()[2]
            answer = phone.submit(fetched, f"{address}slow")
            assert said(server) == "asked\n"
            server.send_signal(how)
            assert said(server).startswith("Stopping: requests that are being answered")
            fifo.write_text("the whole answer", encoding="utf-8")
            assert answer.result(60) == "the whole answer"
            assert server.wait(60) == 0
        finally:
            server.kill()
