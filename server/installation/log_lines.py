"""The log of a served clinic: one JSON object a line on the standard error output, and never anything about a person.

What this program says of itself is written for it. Of any other library warnings and worse are kept, and of those the message without
what is filled in, unless that is numbers alone: else it may be a name or an answer; and of an exception its kind and place, since its
text may be one too.
"""

import json
import logging
import re
import sys
import threading
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from server.reminders.failures import kind_and_place

OURS = ("yearmark", "server")
_HOLE = re.compile(r"%(\(\w+\))?[-+ #0-9.*]*[a-zA-Z]")


class LogLine(logging.Formatter):
    """`counts` of a record, given as `extra`, stand in its line as they are: numbers by name."""

    def format(self, record: logging.LogRecord) -> str:
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        line: dict[str, Any] = {"at": at, "level": record.levelname.lower(), "logger": record.name}
        if record.name.partition(".")[0] in OURS:
            line["event"] = record.getMessage()
        else:
            line["event"] = _without_what_is_filled_in(record)
            line["place"] = f"{Path(record.pathname).name} line {record.lineno}"
        if record.exc_info and record.exc_info[1]:
            line["failure"] = kind_and_place(record.exc_info[1])
        if counts := getattr(record, "counts", None):
            line["counts"] = counts
        return json.dumps(line, ensure_ascii=False)


def _without_what_is_filled_in(record: logging.LogRecord) -> str:
    """A message without arguments may have been put together with what it is about."""
    if not record.args:
        return "said something"
    values = record.args.values() if isinstance(record.args, Mapping) else record.args
    if all(isinstance(value, int | float) for value in values):
        return record.getMessage()
    return _HOLE.sub("…", str(record.msg))


def _is_for_the_log(record: logging.LogRecord) -> bool:
    """What another library tells of its daily work helps nobody here."""
    return record.name.partition(".")[0] in OURS or record.levelno >= logging.WARNING


def write_log_lines() -> None:
    """From now on everything that this process logs, warns of or dies of is such a line."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(LogLine())
    handler.addFilter(_is_for_the_log)
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)
    logging.captureWarnings(True)
    sys.excepthook = _died
    threading.excepthook = _thread_died


def _died(_kind: type[BaseException], problem: BaseException, _trace: TracebackType | None) -> None:
    logging.getLogger("yearmark").critical("the server ended by a fault of its own", exc_info=problem)


def _thread_died(died: threading.ExceptHookArgs) -> None:
    logging.getLogger("yearmark").critical("a thread ended by a fault of its own", exc_info=died.exc_value)
