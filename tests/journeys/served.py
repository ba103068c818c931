"""The real server in a process of its own, so that a test can kill it.

`app` is the folder of the built phone app. `when_stored` is `process` as ever, `die` to kill the process with SIGKILL after the commit
of an envelope and before its receipt, or `leave` to hand out receipts and process nothing.
"""

import os
import signal
from collections.abc import Mapping
from multiprocessing.connection import Connection
from pathlib import Path

from server.cli import serving
from server.config import read_settings
from server.installation.log_lines import write_log_lines
from server.installation.runtime import open_runtime
from server.jobs.intake_thread import IntakeThread
from server.sync import pages


class DiesWhenStored(IntakeThread):
    def wake(self) -> None:
        os.kill(os.getpid(), signal.SIGKILL)


class LeavesItThere(IntakeThread):
    def start(self) -> None:
        pass

    def stop(self) -> None:
        pass


THREADS = {"process": IntakeThread, "die": DiesWhenStored, "leave": LeavesItThere}


def serve(
    environment: Mapping[str, str], data: Path, port: int, app: Path, when_stored: str, announced: Connection
) -> None:
    """Until it is stopped or killed. What it writes goes to server.log in `data`."""
    os.environ.clear()
    os.environ.update(environment)
    with (data / "server.log").open("a") as log:
        os.dup2(log.fileno(), 1)
        os.dup2(log.fileno(), 2)
    write_log_lines()
    runtime = open_runtime(read_settings(data=data))
    pages.BUILT = app
    serving.IntakeThread = THREADS[when_stored]  # type: ignore[attr-defined]
    serving.serve_forever(runtime, announce=announced.send, port=port)
