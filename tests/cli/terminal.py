"""A command at a terminal of its own: reads the questions as they come and types the answers, as a person does."""

import os
import pty
import signal
import sys
from dataclasses import dataclass, field
from pathlib import Path
from select import select

from tests.structure.tree import ROOT

LONGEST_WAIT = 60


@dataclass
class Terminal:
    """`said`: everything that stood on the screen since `see` last found something, and in `all` since the start."""

    pid: int
    screen: int
    said: str = ""
    all: str = field(default="")

    def see(self, words: str) -> None:
        """Waits until these words stand on the screen, after those that were seen before."""
        while words not in self.said:
            assert self._read(), f"the command ended before it said {words!r}:\n{self.all}"
        self.said = self.said.partition(words)[2]

    def answer(self, question: str, text: str) -> None:
        self.see(question)
        self.type(text)

    def type(self, text: str) -> None:
        os.write(self.screen, f"{text}\n".encode())

    def end(self) -> int:
        """Reads to the end; the exit code."""
        while self._read():
            pass
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])

    def kill(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.screen)

    def _read(self) -> bool:
        ready, _, _ = select([self.screen], [], [], LONGEST_WAIT)
        assert ready, f"nothing more came within {LONGEST_WAIT} s:\n{self.all}"
        try:
            found = os.read(self.screen, 65536).decode(errors="replace")
        except OSError:  # how Linux says that the other side has gone
            return False
        self.said += found
        self.all += found
        return bool(found)


def at_a_terminal(environment: dict[str, str], *words: str) -> Terminal:
    """Starts `yearmark` with these words on a pseudo-terminal."""
    pid, screen = pty.fork()
    if pid == 0:
        os.chdir(ROOT)
        # What runs in the background of a shell without a terminal ignores Ctrl-C, and so would all that it starts.
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        program = [sys.executable, "-c", "from server.cli import main; main()", *words]
        os.execve(sys.executable, program, environment)
    return Terminal(pid, screen)


def plain_environment(folder: Path) -> dict[str, str]:
    """Without the settings of whoever runs the tests."""
    kept = {name: text for name, text in os.environ.items() if not name.startswith("YEARMARK_")}
    return {**kept, "HOME": str(folder), "TERM": "dumb", "COLUMNS": "200", "PYTHONPATH": str(ROOT)}
