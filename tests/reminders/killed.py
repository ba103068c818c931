"""A process that ticks and sends until it is done, or until a chosen SQL statement, before which it dies by SIGKILL.

`python -m tests.reminders.killed FOLDER DATABASE_URL SMTP_PORT INSTANT STATEMENTS` exits 0 when nothing was left to do.
"""

import os
import signal
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, event

from server import jobs
from server.config import read_settings
from server.runtime import open_runtime


def die_before(engine: Engine, statement: int) -> None:
    """BEGIN, COMMIT and ROLLBACK count too: dying just before a commit is the most interesting place."""
    left = [statement]

    def count(*_details: Any) -> None:
        left[0] -= 1
        if left[0] < 0:
            os.kill(os.getpid(), signal.SIGKILL)

    for name in ("before_cursor_execute", "begin", "commit", "rollback"):
        event.listen(engine, name, count)


def main(folder: str, url: str, port: str, instant: str, statements: str) -> None:
    at = datetime.fromisoformat(instant)
    settings = read_settings({"YEARMARK_DATABASE_URL": url, "YEARMARK_SMTP": f"127.0.0.1:{port}"}, data=Path(folder))
    runtime = open_runtime(settings, real_clock=lambda: at)
    die_before(runtime.store.engine, int(statements))
    jobs.tick(runtime)
    jobs.send(runtime)
    runtime.store.engine.dispose()


if __name__ == "__main__":
    main(*sys.argv[1:])
