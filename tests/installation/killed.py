"""A command killed with SIGKILL at each of its write points, one after the other: what is left is judged, and the command is given again.

Write points are whatever is opened for writing, renamed, made or removed, each statement, each commit, each part of the database that
SQLite has copied, and the start and the end of PostgreSQL's tools.
"""

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from itertools import count
from threading import Timer
from typing import Any, Protocol

from sqlalchemy import Engine, event

from server.trust.backup import databases
from server.trust.backup.manifest import CopyProblem

NAMES = {
    "os.rename", "os.mkdir", "os.remove", "os.rmdir", "os.chmod", "shutil.copyfile", "sqlite3.connect", "subprocess.Popen",
}  # fmt: skip
WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT
NEVER = 10**9
PAGES = 40  # of SQLite's database from one write point to the next
Step = Callable[..., None]


def run_and_die(work: Callable[[Step], object], kill_at: int) -> int:
    """Runs `work` in a process of its own, killed at its `kill_at`-th write point; how many there were, or -1 when killed."""
    reading_end, writing_end = os.pipe()
    child = os.fork()
    if not child:
        _in_child(work, kill_at, writing_end)
    os.close(writing_end)
    with os.fdopen(reading_end) as said:
        steps = said.read()
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        assert os.WTERMSIG(status) == signal.SIGKILL
        return -1
    assert os.WEXITSTATUS(status) == 0
    return int(steps)


def _in_child(work: Callable[[Step], object], kill_at: int, writing_end: int) -> None:
    steps = count(1)

    def step(*_details: Any) -> None:
        if next(steps) == kill_at:
            os.kill(os.getpid(), signal.SIGKILL)

    def audited(name: str, details: tuple[Any, ...]) -> None:
        if name in NAMES or (name == "open" and details[2] & WRITING):
            step()

    try:
        sys.addaudithook(audited)
        for name in ("before_cursor_execute", "commit"):
            event.listen(Engine, name, step)
        _tools_step(step)
        databases.PAGES_AT_ONCE = PAGES
        work(step)
        os.write(writing_end, str(next(steps) - 1).encode())
        os._exit(0)
    except BaseException:
        os._exit(1)


def _tools_step(step: Step) -> None:
    """Just after a tool was started, and just after it has ended."""
    wait = subprocess.Popen.communicate

    def communicate(tool: Any, *arguments: Any, **named: Any) -> Any:
        step()
        said = wait(tool, *arguments, **named)
        step()
        return said

    subprocess.Popen.communicate = communicate  # type: ignore[method-assign, assignment]


@contextmanager
def tools_killed(after_s: float) -> Iterator[list[int]]:
    """Each tool of PostgreSQL that is started within it is killed so long after its start, the command itself goes on; exit codes."""
    wait, ended = subprocess.Popen.communicate, list[int]()

    def communicate(tool: Any, *arguments: Any, **named: Any) -> Any:
        timer = Timer(after_s, tool.kill)
        if after_s:
            timer.start()
        else:
            tool.kill()
        try:
            return wait(tool, *arguments, **named)
        finally:
            timer.cancel()
            ended.append(tool.returncode)

    subprocess.Popen.communicate = communicate  # type: ignore[method-assign, assignment]
    try:
        yield ended
    finally:
        subprocess.Popen.communicate = wait  # type: ignore[method-assign]


class Killed(Protocol):
    """A command on ground of its own. `look` and `again` raise when anything is neither whole nor said to be unfinished."""

    def ground(self) -> AbstractContextManager[None]:
        """New ground, on which it was not given yet, for the length of a block."""

    def work(self, step: Step) -> None: ...

    def look(self) -> bool:
        """Whether it was done before it was killed."""

    def again(self, was_whole: bool) -> None:
        """The same command once more comes to the end, and nothing is left of the one that was killed."""


@dataclass
class Tally:
    """`whole`: killed when all was done; `anew`: those that came to their end by the second try alone."""

    points: int = 0
    whole: int = 0
    anew: int = 0
    lost: list[str] = field(default_factory=list)
    what: str = "write points"

    def __str__(self) -> str:
        return f"{self.points} {self.what}, {self.whole} whole, {self.anew} begun anew"

    def judge(self, command: Killed, where: str, said: str | None = None) -> None:
        """`said`: how a command that lives on has refused, empty where it came to its end."""
        self.points += 1
        try:
            whole = command.look()
            assert said is None or whole == (not said), said or "nothing was said of it"
            command.again(whole)
        except Exception as problem:
            self.lost.append(f"{where}: {type(problem).__name__}: {problem}")
            return
        self.whole += whole
        self.anew += not whole


def write_points(command: Killed) -> int:
    with command.ground():
        return run_and_die(command.work, NEVER)


def kill_at_each(command: Killed, points: Iterable[int]) -> Tally:
    tally = Tally()
    for point in points:
        with command.ground():
            if run_and_die(command.work, point) == -1:
                tally.judge(command, f"at {point}")
    return tally


def kill_tools_after(command: Killed, instants_s: Iterable[float]) -> Tally:
    """The command has to refuse in a sentence and leave nothing of its own, or it was done already."""
    tally = Tally(what="instants")
    for after_s in instants_s:
        said = ""
        with command.ground():
            with tools_killed(after_s) as ended:
                try:
                    command.work(lambda *_: None)
                except CopyProblem as problem:
                    said = str(problem)
            if -signal.SIGKILL in ended:
                tally.judge(command, f"after {after_s:.3f} s", said)
    return tally


def spread_over(steps: int, points: int) -> list[int]:
    """The first and the last among them."""
    return sorted({1 + number * (steps - 1) // (points - 1) for number in range(points)})
