"""How far a long command is."""

import sys
from typing import Any

import click


def progress_bar(length: int, label: str) -> Any:
    """A bar on the error output of a terminal; nothing in a log or a pipe. `update(n)` says that n more are done."""
    return click.progressbar(length=length, label=label, file=sys.stderr, hidden=not sys.stderr.isatty(), show_pos=True)
