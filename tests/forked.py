"""Processes of their own for tests that kill them, forked from one that has imported the program and runs no thread.

To import it takes longer than many a test and is no part of what such a test looks at. Commands as a person starts them are started
anew: tests/cli, tests/proxy/live_clinic.py.
"""

import multiprocessing
from collections.abc import Callable

FORKED = multiprocessing.get_context("forkserver")
FORKED.set_forkserver_preload(["server.cli.serving"])
LONGEST_SECONDS = 120


def exit_code(main: Callable[..., None], *arguments: str) -> int:
    """Runs it to its end, or to its death by a signal, which is a negative code."""
    process = FORKED.Process(target=main, args=arguments, daemon=True)
    process.start()
    process.join(LONGEST_SECONDS)
    code = process.exitcode
    assert code is not None, f"it still runs after {LONGEST_SECONDS} s"
    process.close()
    return code
