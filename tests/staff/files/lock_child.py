"""Makes a data lock and is killed once its row is written, before the commit: python -m tests.staff.files.lock_child URL FOLDER"""

import os
import signal
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import event

from scoring.library import load_library
from server.config import read_settings
from server.installation.data_lock import make_lock
from server.installation.runtime import Runtime
from server.store.engine import Store, make_engine
from server.store.folder_lock import FolderLock
from server.trust.keys import KeyFolder

NOW = datetime(2026, 6, 15, 10, 0, tzinfo=UTC)


def killed(_connection: Any, _cursor: Any, statement: str, *_more: Any) -> None:
    if statement.startswith("INSERT INTO data_lock"):
        os.kill(os.getpid(), signal.SIGKILL)


def main(url: str, folder: str) -> None:
    engine = make_engine(url, FolderLock(Path(folder)))
    keys = KeyFolder(Path(folder) / "keys")
    settings = read_settings({"YEARMARK_DATABASE_URL": url}, data=Path(folder))
    store = Store(engine, keys.field_ring())
    runtime = Runtime(settings, store, keys, load_library(), FolderLock(Path(folder)), lambda: NOW)
    event.listen(engine, "after_cursor_execute", killed)
    make_lock(runtime, "five-years", "The paper on five years", by_id=None)


if __name__ == "__main__":
    main(*sys.argv[1:])
