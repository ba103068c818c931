"""The demo's data folder: whose it is, whether its seed was finished, and `demo.json`.

`demo-unfinished` lies in the folder from before the first row until `demo.json` is written. Whoever finds it starts the folder over.
"""

import json
import shutil
from enum import Enum, auto
from pathlib import Path
from typing import Any

from server.installation.runtime import Runtime
from server.installation.set_up import clinic_mode
from server.models import Base
from server.store.whole_file import write_whole

MARK = "demo-unfinished"
FILE = "demo.json"


class Found(Enum):
    NOTHING = auto()  # no clinic yet
    UNFINISHED = auto()  # a demo whose seed was broken off
    DEMO = auto()
    LIVE = auto()


def look_at(runtime: Runtime) -> Found:
    """What lies in the folder. A live clinic is one whatever else lies beside it."""
    mode = clinic_mode(runtime)
    if mode == "live":
        return Found.LIVE
    if (runtime.settings.data / MARK).exists():
        return Found.UNFINISHED
    return Found.DEMO if mode == "demo" else Found.NOTHING


def begin(runtime: Runtime) -> None:
    write_whole(
        runtime.settings.data / MARK, b"The seed of this demo was begun and not finished; the next start begins anew.\n"
    )


def finish(runtime: Runtime) -> None:
    (runtime.settings.data / MARK).unlink(missing_ok=True)


def start_over(runtime: Runtime) -> None:
    """Empties a demo whose seed was broken off. The field keys stay, since the store holds them."""
    with runtime.store.writing() as session:
        for table in reversed(Base.metadata.sorted_tables):
            session.execute(table.delete())
    data, keys = runtime.settings.data, runtime.keys.folder
    for folder in (data / "mailbox", keys / "patient", keys / "sealing"):
        shutil.rmtree(folder, ignore_errors=True)
    (data / FILE).unlink(missing_ok=True)


def write_demo_file(data: Path, content: dict[str, Any]) -> None:
    write_whole(data / FILE, json.dumps(content, ensure_ascii=False, indent=1).encode("utf-8") + b"\n")


def read_demo_file(data: Path) -> dict[str, Any]:
    """Empty when it was taken away: a demo works without it, its passwords are lost then."""
    try:
        found: dict[str, Any] = json.loads((data / FILE).read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    return found
