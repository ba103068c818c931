"""`yearmark serve` in which everything goes wrong once, each time with words about a person: python -m tests.cli.telling_child DATA WORDS

The first round of intake, the second message and the page /fails each raise the words, a thread dies of them, and a library logs them.
"""

import logging
import sys
import threading
import warnings
from collections.abc import Callable
from typing import Any

from flask import Flask

from server.app import create_app
from server.cli import main, serving
from server.installation.runtime import Runtime
from server.jobs import intake_thread
from server.reminders.channels.email.smtp import SmtpTransport


def raising_at(call: int, work: Callable[..., Any], words: str) -> Callable[..., Any]:
    calls = iter(range(1, 1_000_000))

    def worked(*given: Any, **named: Any) -> Any:
        if next(calls) == call:
            raise ValueError(words)
        return work(*given, **named)

    return worked


def with_a_page_that_fails(words: str) -> Callable[..., Flask]:
    def fails(typed: str) -> str:
        raise ValueError(f"{words} {typed}")

    def made(runtime: Runtime, stored: Callable[[], None] | None = None) -> Flask:
        app = create_app(runtime, stored)
        app.add_url_rule("/fails/<typed>", view_func=fails)
        _go_wrong_beside_it(words)
        return app

    return made


def _go_wrong_beside_it(words: str) -> None:
    def dies() -> None:
        raise ValueError(words)

    thread = threading.Thread(target=dies)
    thread.start()
    thread.join()
    library = logging.getLogger("library")
    library.info("begins with %s", words)
    library.warning("%d wait", 7)
    library.warning("met %s", words)
    library.warning(f"met {words}")
    warnings.warn(words, stacklevel=1)


if __name__ == "__main__":
    _name, data, words = sys.argv
    serving.create_app = with_a_page_that_fails(words)  # type: ignore[attr-defined]
    intake_thread.process_batches = raising_at(1, intake_thread.process_batches, words)  # type: ignore[attr-defined]
    SmtpTransport.deliver = raising_at(2, SmtpTransport.deliver, words)  # type: ignore[method-assign]
    main(["serve", "--data", data])
