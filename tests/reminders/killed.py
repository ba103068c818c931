"""Processes that tick and send until they are done, or until a chosen SQL statement, before which they die by SIGKILL.

`python -m tests.reminders.killed FOLDER DATABASE_URL SMTP_PORT` reads lines `INSTANT STATEMENTS`, forks a process for each, and writes
`done`, `killed` or `failed`. It imports everything once and has no thread or connection of its own, so a fork is safe and quick.
"""

import os
import signal
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, event

from scoring.library import load_library
from server.config import Settings, read_settings
from server.installation.runtime import open_runtime
from server.jobs import clock as jobs


def die_before(engine: Engine, statement: int) -> None:
    """BEGIN, COMMIT and ROLLBACK count too: dying just before a commit is the most interesting place."""
    left = [statement]

    def count(*_details: Any) -> None:
        left[0] -= 1
        if left[0] < 0:
            os.kill(os.getpid(), signal.SIGKILL)

    for name in ("before_cursor_execute", "begin", "commit", "rollback"):
        event.listen(engine, name, count)


def work(settings: Settings, at: datetime, statements: int) -> None:
    runtime = open_runtime(settings, real_clock=lambda: at)
    die_before(runtime.store.engine, statements)
    jobs.tick(runtime)
    jobs.send(runtime)
    runtime.store.engine.dispose()


def in_a_child(settings: Settings, at: datetime, statements: int) -> str:
    child = os.fork()
    if child == 0:
        code = 1
        try:
            work(settings, at, statements)
            code = 0
        finally:
            os._exit(code)
    _, status = os.waitpid(child, 0)
    return {0: "done", -signal.SIGKILL: "killed"}.get(os.waitstatus_to_exitcode(status), "failed")


def main(folder: str, url: str, port: str) -> None:
    settings = read_settings({"YEARMARK_DATABASE_URL": url, "YEARMARK_SMTP": f"127.0.0.1:{port}"}, data=Path(folder))
    load_library()  # once, for all children
    for line in sys.stdin:
        instant, statements = line.split()
        print(in_a_child(settings, datetime.fromisoformat(instant), int(statements)), flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
