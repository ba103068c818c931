"""A live clinic on a machine of its own: the commands that its administrator gives, and the server as they start it."""

import json
import signal
import subprocess
import sys
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path

from tests.cli.shell import Shell
from tests.cli.terminal import plain_environment
from tests.journeys.site import PATIENCE_SECONDS, free_port
from tests.structure.tree import ROOT


@dataclass
class LiveClinic:
    """`machine`: a folder with all that is lost when the machine dies: data, keys, settings. `port`: where its server listens."""

    machine: Path
    port: int = field(default_factory=free_port)
    process: subprocess.Popen[str] | None = field(default=None, repr=False)

    @property
    def data(self) -> Path:
        return self.machine / "data"

    def command(self, *words: str) -> str:
        """What the command said; it has to succeed."""
        done = Shell(self.data).on_data(*words)
        assert done.exit_code == 0, done.output
        return done.stdout

    def set_up(self, answers: str, password: str) -> None:
        """By files, as one who automates it does. What the environment says at that start is kept with the data."""
        files = self.machine.with_name("answers.toml"), self.machine.with_name("password")
        for file, text in zip(files, (answers, f"{password}\n"), strict=True):
            file.write_text(text, encoding="utf-8")
        told = Shell(self.data, {"YEARMARK_PORT": str(self.port)})
        done = told.on_data("set-up", "--answers", str(files[0]), "--password-file", str(files[1]))
        assert done.exit_code == 0, done.output

    def tick(self) -> dict[str, int]:
        """One pass of the clock beside the running server, which would come to it within a quarter of an hour; counts by name."""
        counts: dict[str, int] = json.loads(self.command("tick"))
        return counts

    def start(self) -> None:
        """Returns once the server has said that it listens."""
        assert self.process is None, "the server runs already"
        command = [sys.executable, "-c", "from server.cli import main; main()", "serve", "--data", str(self.data)]
        with self.machine.with_name("server.log").open("a") as log:
            self.process = subprocess.Popen(
                command, cwd=ROOT, env=plain_environment(self.machine), stdout=subprocess.PIPE, stderr=log, text=True
            )
        assert self.process.stdout is not None
        said = self.process.stdout.readline()
        assert said.startswith("Serving on"), self.machine.with_name("server.log").read_text()

    def is_well(self) -> bool:
        """As a monitor asks."""
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/health", timeout=PATIENCE_SECONDS) as told:
            return set(json.load(told).values()) == {"ok"}

    def stop(self) -> int:
        """As systemd does; the exit code."""
        return self._end(signal.SIGTERM)

    def kill(self) -> None:
        self._end(signal.SIGKILL)

    def _end(self, how: signal.Signals) -> int:
        if self.process is None:
            return 0
        self.process.send_signal(how)
        code = self.process.wait(PATIENCE_SECONDS)
        assert self.process.stdout is not None
        self.process.stdout.close()
        self.process = None
        return code
