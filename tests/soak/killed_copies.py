"""Each command that copies or brings back, killed with -9 at each of its write points, and PostgreSQL's tools at many instants.

`python -m tests.soak.killed_copies 10` tries every tenth point; `… 1 postgresql restore` one command on one database.
"""

import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from tests.databases import NoPostgreSQL, Server, private_server
from tests.installation.copied import Copied, make_copied
from tests.installation.killed import Tally, kill_at_each, kill_tools_after, write_points
from tests.installation.killed_commands import COMMANDS
from tests.soak.proof import Proof

KINDS = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}
WITH_TOOLS = ("backup", "restore")
INSTANTS = 40


@contextmanager
def small_clinic(server: Server | None) -> Iterator[Copied]:
    with tempfile.TemporaryDirectory(prefix="yearmark-soak-") as name, ExitStack() as stack:
        yield make_copied(server, Path(name), stack)


def said(name: str, tally: Tally, steps: int | None = None) -> Proof:
    tried = f"{tally} (of {steps})" if steps else f"{tally}"
    return Proof(name, tried, "; ".join(tally.lost) or "nothing")


def killed_command(command: str, kind: str, server: Server | None, every: int) -> Proof:
    with small_clinic(server) as copied:
        killed = COMMANDS[command](copied)
        steps = write_points(killed)
        return said(f"{command} under kill -9, {KINDS[kind]}", kill_at_each(killed, range(1, steps + 1, every)), steps)


def killed_tools(command: str, server: Server, every: int) -> Proof:
    """At instants spread over the time that the command takes undisturbed."""
    with small_clinic(server) as copied:
        killed = COMMANDS[command](copied)
        with killed.ground():
            began = time.monotonic()
            killed.work(lambda *_: None)
        step_s = (time.monotonic() - began) / INSTANTS
        tally = kill_tools_after(killed, [number * step_s for number in range(0, INSTANTS, every)])
    return said(f"PostgreSQL's tool of {command} killed", tally)


def killed_copies(every: int = 1, kinds: tuple[str, ...] = tuple(KINDS), only: str = "") -> Iterator[Proof]:
    names = [only] if only else list(COMMANDS)
    for kind in kinds:
        with ExitStack() as stack:
            try:
                server = stack.enter_context(private_server()) if kind == "postgresql" else None
            except NoPostgreSQL as missing:
                yield Proof("copies under kill -9, PostgreSQL", f"left out: {missing}")
                continue
            for command in names:
                yield killed_command(command, kind, server, every)
                if server is not None and command in WITH_TOOLS:
                    yield killed_tools(command, server, every)


if __name__ == "__main__":
    words = sys.argv[1:]
    for proof in killed_copies(int(words[0]) if words else 1, tuple(words[1:2]) or tuple(KINDS), "".join(words[2:3])):
        print(proof, flush=True)
