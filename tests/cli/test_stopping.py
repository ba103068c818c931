"""A server that is asked to stop finishes what it is at, and ends well."""

import io
import os
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import enumerate as enumerate_threads
from typing import Any

import pytest

from server.cli.serving import STOPPING, AskedToStop, stop_when_asked
from tests.cli.shell import Shell
from tests.structure.tree import ROOT


def said(server: subprocess.Popen[str]) -> str:
    assert server.stdout is not None
    return server.stdout.readline()


def fetched(address: str) -> str:
    with urllib.request.urlopen(address, timeout=60) as answer:
        return str(answer.read().decode())


class AskedMeanwhile(io.RawIOBase):
    """Where lines go, and from where this process is asked to stop while it writes the first of them."""

    def __init__(self) -> None:
        self.said = ""

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        if not self.said:
            self.said = bytes(data).decode()
            signal.raise_signal(signal.SIGTERM)
        else:
            self.said += bytes(data).decode()
        return len(bytes(data))


@pytest.fixture
def handlers() -> Iterator[None]:
    """Those that were there before are there again."""
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.mark.usefixtures("handlers")
def test_asked_to_stop_in_the_middle_of_a_line_it_says_so_after_it() -> None:
    asked = AskedMeanwhile()
    out = io.BufferedWriter(asked)

    def announce(line: str) -> None:
        out.write(f"{line}\n".encode())
        out.flush()

    stop_when_asked(announce)
    with pytest.raises(AskedToStop):
        announce("Serving")
    for each in [each for each in enumerate_threads() if each.name.endswith("(announce)")]:
        each.join(30)
    assert asked.said.startswith("Serving\n") and asked.said.endswith(f"{STOPPING}\n")


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
