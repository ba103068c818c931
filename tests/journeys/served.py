"""The real server in a process of its own, so that a test can kill it: python -m tests.journeys.served DATA PORT APP WHEN_STORED

APP is the folder of the built phone app. WHEN_STORED is `process` as ever, `die` to kill the process with SIGKILL after the commit
of an envelope and before its receipt, or `leave` to hand out receipts and process nothing.
"""

import os
import signal
import sys
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


def main(data: str, port: str, app: str, when_stored: str) -> None:
    write_log_lines()
    runtime = open_runtime(read_settings(data=Path(data)))
    pages.BUILT = Path(app)
    serving.IntakeThread = THREADS[when_stored]  # type: ignore[attr-defined]
    serving.serve_forever(runtime, announce=lambda line: print(line, flush=True), port=int(port))


if __name__ == "__main__":
    main(*sys.argv[1:])
