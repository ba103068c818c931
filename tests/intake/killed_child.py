"""Receives envelopes and processes them until killed; for a process of its own.

Kills itself with SIGKILL before the KILL_AT-th statement, commits included. A receipt is written down once it would have left the server.
"""

import json
import os
import signal
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, event

from scoring.library import load_library
from server.config import read_settings
from server.installation.runtime import Runtime
from server.jobs.intake import process_received
from server.store.engine import Store, make_engine
from server.store.folder_lock import FolderLock
from server.sync.receive import Posted, receive
from server.trust.keys import KeyFolder

NOW = datetime(2026, 6, 15, 10, 0, tzinfo=UTC)


def die_at(engine: Engine, kill_at: int) -> None:
    steps = count(1)  # several threads may take from it

    def step(*_details: Any) -> None:
        if next(steps) == kill_at:
            os.kill(os.getpid(), signal.SIGKILL)

    for name in ("before_cursor_execute", "after_cursor_execute", "commit"):
        event.listen(engine, name, step)


def main(url: str, folder: str, posts: str, receipts: str, kill_at: str) -> None:
    lock = FolderLock(Path(folder)) if url.startswith("sqlite") else None
    engine = make_engine(url, lock)
    keys = KeyFolder(Path(folder) / "keys")
    store = Store(engine, keys.field_ring())
    settings = read_settings({"YEARMARK_DATABASE_URL": url}, data=Path(folder))
    runtime = Runtime(settings, store, keys, load_library(), FolderLock(Path(folder)), lambda: NOW)
    die_at(engine, int(kill_at))
    process_received(runtime)
    for post in json.loads(Path(posts).read_text()):
        written = receive(store, [Posted(**each) for each in post], now=NOW)
        with Path(receipts).open("a") as file:
            for receipt in written:
                file.write(json.dumps([receipt.status, receipt.sha256]) + "\n")
        process_received(runtime)
