"""Rescores until killed; for a process of its own.

Kills itself with SIGKILL before the KILL_AT-th step, commits included. Two responses a batch.
"""

from pathlib import Path

from scoring.library import load_library
from server.intake.rescore import rescore
from server.store.engine import Store, make_engine
from server.store.folder_lock import FolderLock
from server.trust.keys import KeyFolder
from tests.intake.archive import NOW
from tests.intake.killed_child import die_at


def main(url: str, folder: str, kill_at: str) -> None:
    engine = make_engine(url, FolderLock(Path(folder)) if url.startswith("sqlite") else None)
    keys = KeyFolder(Path(folder) / "keys")
    die_at(engine, int(kill_at))
    rescore(Store(engine, keys.field_ring()), keys, load_library(), now=NOW, at_once=2)
