"""`yearmark serve` with one page more, /slow: python -m tests.cli.slow_child DATA FIFO

It says on the standard output that it was asked, and answers when somebody has written into the FIFO.
"""

import sys
from collections.abc import Callable
from pathlib import Path

from flask import Flask

from server.app import create_app
from server.cli import main, serving
from server.installation.runtime import Runtime


def with_slow_page(fifo: Path) -> Callable[..., Flask]:
    def slow() -> str:
        print("asked", flush=True)
        return fifo.read_text(encoding="utf-8")

    def made(runtime: Runtime, stored: Callable[[], None] | None = None) -> Flask:
        app = create_app(runtime, stored)
        app.add_url_rule("/slow", view_func=slow)
        return app

    return made


if __name__ == "__main__":
    serving.create_app = with_slow_page(Path(sys.argv[2]))  # type: ignore[attr-defined]
    main(["serve", "--data", sys.argv[1]])
