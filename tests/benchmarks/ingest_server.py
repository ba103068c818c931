"""The server of a data folder in a process of its own, on a free port that it prints: python -m tests.benchmarks.ingest_server FOLDER"""

import sys
from pathlib import Path

from server.app import create_app
from server.cli.serving import http_server, listen
from server.config import read_settings
from server.installation.runtime import open_runtime
from server.jobs.intake_thread import IntakeThread


def main(folder: str) -> None:
    runtime = open_runtime(read_settings({}, data=Path(folder)))
    intake = IntakeThread(runtime)
    listener = listen("127.0.0.1", 0)
    server = http_server(create_app(runtime, intake.wake), listener, proxy=runtime.settings.proxy)
    intake.start()
    print(listener.getsockname()[1], flush=True)
    server.run()


if __name__ == "__main__":
    main(sys.argv[1])
