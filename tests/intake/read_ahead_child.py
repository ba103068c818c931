"""Reads one batch by another process, says so, and kills itself: python -m tests.intake.read_ahead_child URL FOLDER"""

import multiprocessing
import os
import signal
import sys
from pathlib import Path

from scoring.library import load_library
from server.crypto.fields import FieldRing
from server.intake.read_ahead import read_batches
from server.store.engine import Store, make_engine
from server.trust.keys import KeyFolder


def main(url: str, folder: str) -> None:
    store = Store(make_engine(url, None), FieldRing({}, ""))
    batches = read_batches(store, KeyFolder(Path(folder) / "keys"), load_library(), at_once=1)
    if next(batches).responses and multiprocessing.active_children():
        print("a reader runs", flush=True)
    os.kill(os.getpid(), signal.SIGKILL)


if __name__ == "__main__":
    main(*sys.argv[1:])
